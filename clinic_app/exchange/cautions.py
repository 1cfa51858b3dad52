"""The cautions that papers carry, by their number."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

CAUTIONS: Mapping[str, str] = MappingProxyType(
    {
        "C1": "These forecasts come from this practice's own past eyes. They support, and never replace, the "
        "judgement of the licensed clinician looking after the patient.",
        "C2": "Local protocol comes first. If it and this page differ, follow the protocol.",
        "C3": "A low number does not mean a clear cornea. See the eye on the schedule your protocol sets.",
        "C4": "A high number is a reason to plan and to talk with the patient, not a reason to refuse surgery.",
        "C5": "With few cloudy eyes the range matters more than the single number.",
        "C6": "An eye unlike those used for training gets no forecast; it is not counted here but listed as left out.",
        "C7": "Where answers were missing, a forecast assumed typical figures for this practice and may be wrong.",
        "C8": "The model describes association. Changing one entry on screen does not show what changing it in "
        "theatre would do.",
        "C9": "Pain, falling vision, hypopyon, leak, or pressure at or above your action level: call the "
        "responsible surgeon now. Do not wait for this program.",
        "C10": "A model is true to its own period and outcome: both stand beside its number.",
        "C11": "Demo data: invented, not for care.",
        "C12": "Records hold health data. Keep this page on approved equipment and follow consent, retention and "
        "audit rules.",
        "C13": "Not assessed as a medical device by any regulator. Check local rules before using forecasts in care.",
        "C14": "Published figures are from other patients; see source and date beside each.",
        "C15": "Comparison charts judge the forecast, not a surgeon: case-mix and grader differ.",
        "C16": "Protected eyes teach the model: if a forecast falls for the eyes you protect, keep protecting them.",
    }
)
"""C9 stands on day-one papers and C14 where published figures are listed; the others have their place in the review."""
