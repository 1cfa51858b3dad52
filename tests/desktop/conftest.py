"""Windows on real stores of an invented practice: one without a model, one with."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from clinic_app.desktop.look import Look
from clinic_app.desktop.window import Window
from clinic_app.domain.record import CaseKey, StageRecord
from clinic_app.services import bookings, decisions, training
from clinic_app.session import Session, open_session
from clinic_app.settings import Settings, write_settings
from models.codebook import Stage

NOW = datetime(2026, 11, 12, 9, 14, tzinfo=UTC)
LIST_DAY = date(2026, 11, 19)
SETTINGS = Settings(
    practice_name="Invented practice", demo=True, date_order="dmy", planning_line=15.0, vision_notation="snellen_metric"
)


def clock() -> datetime:
    return NOW


def _simulated() -> Callable[..., object]:
    path = Path(__file__).resolve().parents[1] / "simulated_practice.py"
    if "simulated_practice" not in sys.modules:
        spec = importlib.util.spec_from_file_location("simulated_practice", path)
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules["simulated_practice"] = module
        spec.loader.exec_module(module)
    return sys.modules["simulated_practice"].simulated  # type: ignore[no-any-return]


EYE = {
    "birth_date": date(1949, 3, 11), "sex": "male", "booked_surgeon_id": "Halvorsen", "guttae_grade": 0,
    "nucleus_hardness": 4, "acd_mm": 2.71, "diabetes": "none", "glaucoma": "open_angle", "axial_length_mm": 23.18,
    "cct_um": 548.0, "pupil_dilated_mm": 6.5, "hypertension": False, "pseudoexfoliation": "no", "ecd_per_mm2": 2400.0,
}  # fmt: skip


def book_some(session: Session) -> None:
    """Four invented eyes: usual, with a plan, a graft, of a later list."""
    for number, side, day, more in (
        ("P-20417", "R", LIST_DAY, {"protection_plan": ("coat_first", "re_coat")}),
        ("P-20398", "L", LIST_DAY, {"nucleus_hardness": 2, "booked_surgeon_id": "Mbeki"}),
        ("P-20420", "L", LIST_DAY, {"prior_keratoplasty": "DSAEK"}),
        ("P-20422", "R", date(2026, 11, 26), {"nucleus_hardness": 5, "guttae_grade": 3}),
    ):
        bookings.book(session, StageRecord(Stage.BOOKING, {**EYE, **more}), CaseKey(number, side, day))  # type: ignore[dict-item]


@pytest.fixture(scope="session")
def practice_with_model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A practice with graded eyes, a model in use and eyes booked; copied before use."""
    folder = tmp_path_factory.mktemp("practice") / "with-model"
    folder.mkdir()
    write_settings(folder, SETTINGS)
    made = _simulated()(700, start=date(2025, 10, 1), days=380, locked=False)
    with open_session(folder, person="Osei", clock=clock) as session:
        with session.store.writing(by="import", act="import") as write:
            write.put_many([(case.key, [one.record for one in case.stages.values()]) for case in made.cases])  # type: ignore[attr-defined]
        found = training.train_candidate(session, model="booking", resamples=20)
        decisions.adopt(session, str(found["model_id"]), reason="first model of an invented practice")
        book_some(session)
    return folder


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., Session]]:
    """Opens a session on a new practice, or on a copy of another; closed at the end."""
    with ExitStack() as stack:

        def make(source: Path | None = None, *, read_only: bool = False) -> Session:
            folder = tmp_path / f"practice-{len(list(tmp_path.iterdir()))}"
            if source is None:
                folder.mkdir()
                write_settings(folder, SETTINGS)
            else:
                shutil.copytree(source, folder)
            return stack.enter_context(open_session(folder, person="Osei", clock=clock, read_only=read_only))

        yield make


@pytest.fixture
def shown(qtbot: QtBot, qapp: QApplication) -> Iterator[Callable[..., Window]]:
    """Shows a window on a session and waits until its list is read; closed at the end."""
    made: list[Window] = []
    qapp.setStyle("Fusion")

    def show(
        session: Session, *, size: tuple[int, int] = (1440, 900), theme: str = "light", percent: int = 100
    ) -> Window:
        look = Look(theme, percent)
        look.apply()
        window = Window(look, session.settings, session.person)
        window.fill(session)
        window.bookings, window.review = window.page["bookings"], window.page["review"]
        made.append(window)
        window.resize(*size)
        with qtbot.waitSignal(window.bookings.waiting, timeout=20_000):
            window.show()
            window.activateWindow()
        qtbot.waitUntil(lambda: QApplication.activeWindow() is window)
        qtbot.waitUntil(lambda: not window.jobs.busy, timeout=60_000)
        return window

    yield show
    for window in made:
        bookings = window.page.get("bookings")  # none once the window is closed
        if bookings is not None:
            bookings.__dict__.pop("dirty", None)
            bookings.form.show_row({})
            bookings._settle_clean()
            bookings.plan.show_row({})
            bookings._settle_clean()
        window.close()
        window.deleteLater()
    qapp.processEvents()


class Keys:
    """A person at the keyboard, who counts."""

    def __init__(self) -> None:
        self.pressed = 0
        self.path: list[str] = []

    @property
    def held(self) -> QWidget:
        widget = QApplication.focusWidget()
        assert widget is not None
        return widget

    @property
    def place(self) -> str:
        """The field in hand."""
        return self.held.objectName().split(".")[0]

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(self.held, key, modifier)
        QApplication.processEvents()
        self.pressed += 1

    def type(self, text: str, *, enter: bool = False) -> None:
        self.path.append(self.place)
        for letter in text:
            QTest.keyClicks(self.held, letter)
            QApplication.processEvents()
            self.pressed += 1
        if enter:
            self.press(Qt.Key.Key_Return)


@pytest.fixture
def keys() -> Keys:
    return Keys()


@pytest.fixture
def booked_some() -> Callable[[Session], None]:
    """Books four invented eyes."""
    return book_some
