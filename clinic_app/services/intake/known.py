"""What the practice knows about the eyes of a file: a row against the store and the rows before it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date

from clinic_app.domain.checks import Finding, check_fellow, check_other_eye
from clinic_app.domain.operated import OPERATED_BEFORE, key_of
from clinic_app.domain.record import PATIENT_FIELDS, Case, CaseKey, StageRecord
from clinic_app.exchange.asking import OTHER_DATE, operated, row_findings
from clinic_app.exchange.exporter import flat_key, flat_record
from clinic_app.store import Store
from models.codebook import KEY, Stage

_OTHER_BIRTH_DATE = Finding(
    "ask",
    "other_birth_date",
    ("birth_date",),
    "The patient stands here with another birth date: perhaps it is another patient.",
    "Compare patient number and birth date with the patient's papers; correct the one that is wrong.",
)
_OTHER_SEX = Finding(
    "ask",
    "other_sex",
    ("sex",),
    "The patient stands here with another sex, at another eye or operation: perhaps it is another patient.",
    "Compare patient number and sex with the patient's papers; correct the one that is wrong.",
)
_IN_CASE = (Stage.BOOKING, Stage.THEATRE, Stage.DAY_ONE)


def joined(stored: Mapping[str, object], said: Mapping[str, object]) -> dict[str, object]:
    """The flat row after `said` came to it: a reason replaces a value, a value replaces a reason."""
    row = dict(stored)
    for name, value in said.items():
        base = name.removesuffix("_missing")
        if base != name:
            row.pop(base, None)
        else:
            row.pop(f"{name}_missing", None)
        row[name] = value
    return row


class Known:
    """The flat rows known so far, by key, by eye and by patient; grows with each row that is taken.

    Only the patients named in the files are read from the store, once. The rows of patients with `several` in the
    files are kept whole, those of all when `remember`.
    """

    def __init__(
        self, store: Store, patients: Collection[str], *, zone: str | None, remember: bool, several: frozenset[str]
    ) -> None:
        self._store, self._zone = store, zone
        self._remember, self._several = remember, several
        self._rows: dict[CaseKey, Mapping[str, object]] = {}
        self._dates: dict[tuple[str, str], dict[date, bool]] = {}
        self._patients: dict[str, dict[str, object]] = {}
        self._stored: set[CaseKey] = set()
        self._signed = store.signed_stages()
        self._signed_patients = {key.patient_id for key, done in self._signed.items() if Stage.BOOKING in done}
        for row in store.rows(patients=patients):
            key = key_of(row)
            self._stored.add(key)
            self._note(key, row, keep=True)

    def _note(self, key: CaseKey, row: Mapping[str, object], *, keep: bool) -> None:
        if keep:
            self._rows[key] = row
        self._dates.setdefault((key.patient_id, key.eye), {})[key.surgery_date] = operated(row)
        shared = {name: row[name] for name in PATIENT_FIELDS if row.get(name) is not None}
        if shared:
            self._patients.setdefault(key.patient_id, {}).update(shared)

    def rows_of(self, patient_id: str) -> dict[CaseKey, dict[str, object]]:
        """The flat rows of the patient's stored cases as they stand now, with what was learnt of the patient since."""
        patient = self._patients.get(patient_id, {})
        return {key: joined(self._rows[key], patient) for key in self.keys_of(patient_id) if key in self._stored}

    def keys_of(self, patient_id: str) -> list[CaseKey]:
        """Every case of the patient that is stored or was taken in this import."""
        return [CaseKey(patient_id, eye, day) for eye in ("R", "L") for day in self._dates.get((patient_id, eye), ())]

    def knows(self, key: CaseKey) -> bool:
        """Whether that case is stored or was taken before in this import."""
        return key.surgery_date in self._dates.get((key.patient_id, key.eye), {})

    def _has_others(self, key: CaseKey) -> bool:
        days = [(eye, day) for eye in ("R", "L") for day in self._dates.get((key.patient_id, eye), ())]
        return any(one != (key.eye, key.surgery_date) for one in days)

    def without_blanks(self, key: CaseKey, record: StageRecord) -> StageRecord:
        """The booking without "not recorded" and the like where another eye of the patient has the answer already."""
        patient = self._patients.get(key.patient_id, {})
        told = [name for name in record.missing if name in patient]
        if not told or not self._has_others(key):
            return record
        missing = {name: code for name, code in record.missing.items() if name not in told}
        return replace(record, missing=missing)

    def take(self, key: CaseKey, row: Mapping[str, object]) -> None:
        """Remember a row that went in."""
        keep = self._remember or key in self._stored or key.patient_id in self._several
        self._note(key, row, keep=keep)

    def whole(self, key: CaseKey, stages: Mapping[Stage, StageRecord]) -> dict[str, object]:
        """The case's flat row as it would stand with these records."""
        said = flat_key(key)
        for stage in _IN_CASE:
            if stage in stages:
                said.update(flat_record(stages[stage]))
        stored = self._rows.get(key)
        return said if stored is None else joined(stored, said)

    def findings(self, key: CaseKey, stages: Mapping[Stage, StageRecord], row: Mapping[str, object]) -> list[Finding]:
        """What is refused, asked or noted: between the row's fields, beside the fellow eye, against the store."""
        found = row_findings(row, self._zone)
        fellow = self._fellow(key)
        if fellow is not None:
            found += [one for one in check_fellow(row, fellow) if one.rule != "birth_dates_differ"]
        if found:
            said = {name for record in stages.values() for name in (*record.values, *record.missing)} | set(KEY)
            found = [one for one in found if not one.fields or said & set(one.fields)]
            if self._rows.get(key) == row:  # it stands here so already: nothing is to be decided
                found = [one for one in found if one.kind == "note"]
        return [*found, *self._identity(key, row), *self._other_eye(key, row, stages)]

    def _fellow(self, key: CaseKey) -> Mapping[str, object] | None:
        other = "L" if key.eye == "R" else "R"
        days = self._dates.get((key.patient_id, other))
        if not days:
            return None
        nearest = min(days, key=lambda day: abs((day - key.surgery_date).days))
        return self._rows.get(CaseKey(key.patient_id, other, nearest))

    def _identity(self, key: CaseKey, row: Mapping[str, object]) -> list[Finding]:
        found: list[Finding] = []
        patient = self._patients.get(key.patient_id, {})
        birth, sex = row.get("birth_date"), row.get("sex")
        if birth is not None and patient.get("birth_date", birth) != birth:
            found.append(_OTHER_BIRTH_DATE)
        if sex is not None and patient.get("sex", sex) != sex and self._has_others(key):
            found.append(_OTHER_SEX)
        if self.knows(key):
            return found
        others = self._dates.get((key.patient_id, key.eye), {})
        waiting = sorted(day for day, done in others.items() if not done)
        if waiting:
            found.append(
                Finding(
                    "ask", OTHER_DATE, ("surgery_date",),
                    f"This eye is booked for {waiting[0].isoformat()} and not operated yet: perhaps it was postponed.",
                    "If so, postpone it in the program, so that it keeps forecasts and history. If both days hold, "
                    f'write {OTHER_DATE} in a column "confirmed".',
                )
            )  # fmt: skip
        elif others:
            found.append(
                Finding(
                    "ask", OPERATED_BEFORE, ("surgery_date",),
                    f"This eye stands here with an operation on {max(others).isoformat()} already.",
                    "Check the eye and the date. If it is a second operation on the same eye, write "
                    f'{OPERATED_BEFORE} in a column "confirmed".',
                )
            )  # fmt: skip
        return found

    def _other_eye(self, key: CaseKey, row: Mapping[str, object], stages: Mapping[Stage, StageRecord]) -> list[Finding]:
        if self.knows(key) or not stages.keys() & {Stage.THEATRE, Stage.DAY_ONE}:
            return []
        other = "L" if key.eye == "R" else "R"
        waiting = (
            CaseKey(key.patient_id, other, day)
            for day, done in self._dates.get((key.patient_id, other), {}).items()
            if not done
        )
        finding = check_other_eye(row, [flat_key(one) for one in waiting if one in self._stored])
        return [] if finding is None else [finding]

    def signed_conflict(self, key: CaseKey, stages: Mapping[Stage, StageRecord]) -> list[str]:
        """Fields that were entered in the program and that the row would replace; filling a blank replaces nothing."""
        replaced = self._recheck_conflict(key, stages)
        mine = [stage for stage in _IN_CASE if stage in self._signed.get(key, ()) and stage in stages]
        if mine:
            case = self._store.case(key)
            for stage in mine:
                before = _flat_of(case, stage)
                after = joined(before, flat_record(stages[stage]))
                replaced += [name for name, value in before.items() if value is not None and after.get(name) != value]
        if Stage.BOOKING in stages and key.patient_id in self._signed_patients:
            known = self._patients.get(key.patient_id, {})
            said = stages[Stage.BOOKING].values
            replaced += [
                name for name in PATIENT_FIELDS if name in said and name in known and said[name] != known[name]
            ]
        return list(dict.fromkeys(name.removesuffix("_missing") for name in replaced))

    def _recheck_conflict(self, key: CaseKey, stages: Mapping[Stage, StageRecord]) -> list[str]:
        """Fields of a visit that stands here already and would be replaced; whoever wrote it, that is asked."""
        if Stage.RECHECK not in stages or key not in self._stored:
            return []
        case = self._store.case(key)
        said = flat_record(stages[Stage.RECHECK])
        for visit in case.rechecks if case is not None else ():
            before = flat_record(visit.record)
            if before.get("recheck_at") == said.get("recheck_at"):
                after = joined(before, said)
                return [name for name, value in before.items() if value is not None and after.get(name) != value]
        return []


def _flat_of(case: Case | None, stage: Stage) -> dict[str, object]:
    return flat_record(case.stages[stage].record) if case is not None and case.has(stage) else {}


def confirmable(finding: Finding) -> bool:
    """Whether a person's word in the column `confirmed` answers the question."""
    return finding.rule not in ("other_birth_date", "other_sex")
