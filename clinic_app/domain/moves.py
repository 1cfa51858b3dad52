"""Kinds of the events that moving an eye leaves with its case."""

from __future__ import annotations

POSTPONED = "postponed"
"""Body: `from` and `to`, days in ISO 8601, and `reason`."""
STOOD_DOWN, TAKEN_BACK = "stood_down", "taken_back"
CONSENT_WITHDRAWN, CONSENT_GIVEN = "consent_withdrawn", "consent_given"
"""Body: `reason`."""
MERGED = "merged"
"""Body: `from` and `to`, the patient's numbers, and `reason`."""
