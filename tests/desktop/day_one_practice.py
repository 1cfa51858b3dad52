"""An invented practice on the morning after a list, and the day-one page alone, for the tests of that page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QVBoxLayout, QWidget

from clinic_app.desktop.jobs import Jobs
from clinic_app.desktop.look import Look
from clinic_app.desktop.pages.day_one import DayOnePage
from clinic_app.domain.people import Duty, Person, body_of
from clinic_app.domain.record import CaseKey, StageRecord, StoredForecast
from clinic_app.session import Session
from clinic_app.settings import Settings
from models.codebook import Stage

DAY = date(2026, 11, 12)
RIGHT, LEFT = CaseKey("P-20361", "R", DAY), CaseKey("P-20361", "L", DAY)
OTHER, CLOUDY = CaseKey("P-20388", "L", DAY), CaseKey("P-20300", "R", date(2026, 11, 9))
SETTINGS = Settings(
    practice_name="Invented practice", demo=True, zone="UTC", date_order="dmy", vision_notation="snellen_metric"
)
SECRETS = (
    "12 in 100",
    "9 in 100",
    "0.12",
    "0.09",
    "6 to 21",
    "4 to 17",
    "61.5",
    "Coat first",
    "coat_first",
    "Plan ahead",
)
"""What says something of the forecast, the plan or the sheet of the left eye."""
BOOKED: dict[str, object] = {
    "birth_date": date(1953, 1, 17), "sex": "male", "surgery_time": time(9, 0), "glaucoma": "none",
    "preop_iop_mmhg": 15.0, "cct_um": 541.0, "preop_va_raw": "6/18", "protection_plan": ("coat_first",),
}  # fmt: skip
OPERATED: dict[str, object] = {"surgeon_id": "MB", "pcr": "none", "us_time_s": 61.5}


@dataclass
class Wall:
    """The clock on the wall."""

    now: datetime = datetime(2026, 11, 13, 9, 4, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def go(self, **later: float) -> None:
        self.now += timedelta(**later)


def forecast(key: CaseKey, model: str, risk: float, low: float, high: float) -> StoredForecast:
    return StoredForecast(
        key=key, model_id=f"{model}-1", model=model, made_at=datetime(2026, 11, 1, 9, 0, tzinfo=UTC), made_by="Osei",
        status="forecast", risk=risk, low=low, high=high, inputs={},
    )  # fmt: skip


def fill(session: Session) -> None:
    """Four people; both eyes of one patient and one of another operated yesterday, one cloudy of last Monday."""
    with session.store.writing(by="Osei", act="people") as write:
        for person in (
            Person("Osei", frozenset({Duty.BOOKING, Duty.PEOPLE})),
            Person("Okafor", frozenset({Duty.DAY_ONE})),
            Person("Mbeki", frozenset({Duty.SURGEON, Duty.DAY_ONE}), surgeon_id="MB"),
            Person("Lind", frozenset({Duty.DATA_LEAD})),
        ):
            write.put_register("person", person.name, body_of(person))
        write.put_register(
            "levels", "pressure",
            {"quiet": 25, "today": 30, "now": 40, "low": 6, "lowered_today": 24, "lowered_now": 30,
             "on_call": "Dr Mbeki", "approved": "Mbeki, 2 Sep 2026"},
        )  # fmt: skip
    with session.store.writing(by="Osei", act="book") as write:
        for key, start in ((LEFT, 9), (RIGHT, 10), (OTHER, 11), (CLOUDY, 9)):
            write.put_stage(key, StageRecord(Stage.BOOKING, {**BOOKED, "surgery_time": time(start, 0)}))  # type: ignore[dict-item]
        for model in ("booking", "end_of_case"):
            write.add_model(model, '{"card": "invented"}')
        write.add_forecasts([forecast(LEFT, "booking", 0.12, 0.06, 0.21)])
    with session.store.writing(by="Mbeki", act="sign") as write:
        for key in (LEFT, RIGHT, OTHER, CLOUDY):
            write.put_stage(key, StageRecord(Stage.THEATRE, OPERATED))  # type: ignore[arg-type]
        write.add_forecasts([forecast(LEFT, "end_of_case", 0.09, 0.04, 0.17)])
        write.put_stage(
            CLOUDY,
            StageRecord(
                Stage.DAY_ONE,
                {"visit_status": "attended", "exam_at": datetime(2026, 11, 10, 9, 0), "edema_grade_central": 2},
            ),
        )


class DayOneHost(QWidget):
    """The page alone, with its keys, as a window holds it."""

    def __init__(self, session: Session, look: Look) -> None:
        super().__init__()
        self.jobs = Jobs()
        self.look = look
        self.page = DayOnePage(session, look, self.jobs)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.page)
        for keys, act in self.page.keys().items():
            QShortcut(QKeySequence(keys), self).activated.connect(act)
