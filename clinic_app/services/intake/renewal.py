"""Forecasts of waiting eyes whose answers an import changed: made anew, so that no number outlives its answers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from clinic_app.domain.derived import complete
from clinic_app.domain.operated import first_operations, marked
from clinic_app.domain.record import Case, CaseKey, StageRecord, StoredForecast
from clinic_app.services.intake.known import Known
from clinic_app.session import Session
from models.codebook import Stage

Put = tuple[CaseKey, list[StageRecord]]
_MODELS = ("booking", "end_of_case")


@dataclass(slots=True)
class Written:
    """What an import added or amended: the patients, and the later moments of each case."""

    patients: set[str] = field(default_factory=set)
    moments: dict[CaseKey, set[Stage]] = field(default_factory=dict)

    def note(self, puts: Sequence[Put], words: Iterable[str]) -> None:
        """Remember the cases that did not stay as they were."""
        for (key, records), word in zip(puts, words, strict=True):
            if word == "unchanged":
                continue
            self.patients.add(key.patient_id)
            said = {one.stage for one in records if one.values or one.missing or one.typed}
            self.moments.setdefault(key, set()).update(said)


def renewed(session: Session, known: Known, written: Written) -> list[StoredForecast]:
    """New forecasts, by the model in use, of the eyes that had one of other answers than they have now.

    Only eyes that the model still waits for. What a forecast was made from counts, not the row of the file: an earlier
    operation or a birth date that came with the fellow eye changes it too. An eye without a forecast gets none here:
    it may have been operated long ago and its later moments come with the next file, and a number made now would then
    pass for one made beforehand. Called within the transaction, whose reading shows the state before it.
    """
    models = [model for model in _MODELS if session.store.in_use(model) is not None]
    if not (models and written.patients):
        return []
    gone = session.store.stood_down()
    waiting = session.store.cases(patients=written.patients, without=Stage.DAY_ONE)
    cases = [case for case in waiting if case.key not in gone]
    if not cases:
        return []
    rows = _rows(session, known, {case.key.patient_id for case in cases})
    found: list[StoredForecast] = []
    for model in models:
        last = {one.key: one for one in session.store.forecasts(model=model, locked=False)}
        stale = {
            case.key: rows[case.key]
            for case in cases
            if case.key in last and _waits(case, written, model) and _differs(session, last[case.key], rows[case.key])
        }
        found += session.made(model, stale)
    return found


def _waits(case: Case, written: Written, model: str) -> bool:
    done = {*case.stages, *written.moments.get(case.key, ())}
    return Stage.DAY_ONE not in done and (Stage.THEATRE in done) == (model == "end_of_case")


def _rows(session: Session, known: Known, patients: Iterable[str]) -> dict[CaseKey, dict[str, object]]:
    zone = session.settings.zone or None
    rows: dict[CaseKey, dict[str, object]] = {}
    for patient in patients:
        first = first_operations(known.keys_of(patient))
        for key, row in known.rows_of(patient).items():
            rows[key] = marked(complete(row, zone=zone), key, first)
    return rows


def _differs(session: Session, last: StoredForecast, row: Mapping[str, object]) -> bool:
    """Whether that very model would be told something else now; another model in use alone is no reason."""
    (again,) = session.card(last.model_id).forecast([row])
    return dict(again.inputs) != dict(last.inputs)
