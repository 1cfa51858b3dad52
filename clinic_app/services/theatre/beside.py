"""What this case took, beside what is usual here for such a nucleus with this machine."""

from __future__ import annotations

from dataclasses import dataclass

from clinic_app.domain.derived import complete
from clinic_app.domain.record import Row
from clinic_app.domain.theatre import energy_label
from clinic_app.session import Session
from models.codebook import BY_NAME
from models.energy import FEWEST
from models.words import number_words, unit_words

ENERGY = ("effective_phaco_time_s", "us_energy_value")
SHOWN = (*ENERGY, "irrigation_volume_ml", "case_minutes")


@dataclass(frozen=True, slots=True)
class BesideRow:
    """One reading: its label, this case's value in words (empty while open), what is usual in words, the comparison."""

    field: str
    label: str
    value: str
    usual: str
    words: str


@dataclass(frozen=True, slots=True)
class Beside:
    """`about` says like what: nucleus, machine, motion. `why` says why there is nothing, or no energy, beside it."""

    about: str
    rows: tuple[BesideRow, ...]
    why: str = ""


def like_eyes(session: Session, row: Row) -> int:
    """Operated eyes of the practice with a reading of this machine, metric and tip motion."""
    machine, motion = row.get("phaco_machine_id"), row.get("us_motion")
    found = session.store.rows()
    return sum(
        one.get("phaco_machine_id") == machine and one.get("us_motion") == motion and _has_energy(one) for one in found
    )


def _has_energy(row: Row) -> bool:
    both = row.get("us_time_s") is not None and row.get("us_mean_power_pct") is not None
    return both or any(row.get(name) is not None for name in ENERGY)


def beside_usual(session: Session, row: Row, like: int | None = None) -> Beside:
    """The readings of a row beside what the end-of-case model in use learnt as usual.

    `like` is the number of like eyes (`like_eyes`) where it is known; it is said when they are too few for energy.
    """
    whole = complete(row, zone=session.settings.zone or None)
    about = _about(whole)
    entry = session.store.in_use("end_of_case")
    if entry is None:
        return Beside(about, (), "What is usual here is learnt with the first end-of-case model.")
    if whole.get("nucleus_hardness") is None:
        return Beside(about, (), "No hardness was booked, so nothing can be said of a like nucleus.")
    found = session.card(entry.model_id).usual(whole)
    rows = []
    for name in SHOWN:
        usual = found.get(name)
        if usual is None:
            continue
        unit = unit_words(name)
        low, high = (number_words(name, one) for one in (usual.low, usual.high))
        value = "" if usual.value is None else f"{number_words(name, usual.value)}{unit}"
        label = energy_label(whole.get("us_motion")) if name == ENERGY[0] else BY_NAME[name].label
        rows.append(BesideRow(name, label, value, f"usual {low} – {high}{unit}", usual.words))
    why = ""
    read = whole.get("phaco_machine_id") is not None and any(whole.get(name) is not None for name in ENERGY)
    if read and not any(name in found for name in ENERGY):
        why = "Too few like eyes yet."
        if like is not None:
            few = like < FEWEST
            why = (
                f"Too few like eyes yet ({like} of {FEWEST})."
                if few
                else "No eye that the model learnt from was like it."
            )
    return Beside(about, tuple(rows), why)


def _about(row: Row) -> str:
    words = []
    if row.get("nucleus_hardness") is not None:
        words.append(f"Nucleus {row['nucleus_hardness']}")
    if row.get("phaco_machine_id") is not None:
        words.append(str(row["phaco_machine_id"]))
    if row.get("us_motion") is not None:
        words.append(BY_NAME["us_motion"].choice_label(row["us_motion"]).lower())
    return ", ".join(words)
