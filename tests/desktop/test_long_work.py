"""Work on the other thread: done, failed or stopped, told once, and by the future alone."""

from __future__ import annotations

import threading

import pytest

from clinic_app.desktop.jobs import Jobs, details, sentences
from clinic_app.errors import Refusal
from models.progress import Report


@pytest.fixture
def jobs(qapp):
    made = Jobs()
    yield made
    made.close()


def test_what_was_worked_out_arrives_in_our_thread(jobs, qtbot) -> None:
    heard: list[tuple[object, object]] = []
    job = jobs.start(lambda: threading.current_thread().name)
    job.done.connect(lambda result: heard.append((result, threading.current_thread())))
    qtbot.waitUntil(lambda: bool(heard))
    assert heard[0][0] != threading.main_thread().name
    assert heard[0][1] is threading.main_thread()
    assert not jobs.busy


def test_progress_is_told_in_order(jobs, qtbot) -> None:
    def work(report: Report) -> None:
        for step in range(3):
            report(step / 2, f"step {step}")

    heard: list[str] = []
    job = jobs.start(work, reports=True)
    job.progress.connect(lambda _, words: heard.append(words))
    with qtbot.waitSignal(job.done):
        pass
    assert heard == ["step 0", "step 1", "step 2"]


def test_a_fault_is_carried_back_and_told_without_values(jobs, qtbot) -> None:
    def work() -> None:
        raise ValueError("P-20417 has 548")

    job = jobs.start(work)
    with qtbot.waitSignal(job.failed) as heard:
        pass
    fault = heard.args[0]
    assert isinstance(fault, ValueError)
    assert "20417" not in " ".join(sentences(fault))
    assert "20417" not in details(fault)
    assert "test_long_work.py" in details(fault)
    assert sentences(Refusal("What.", "Why.", "Next.")) == ("What.", "Why.", "Next.")


def test_work_that_is_stopped_ends_at_its_next_report(jobs, qtbot) -> None:
    begun, go = threading.Event(), threading.Event()
    reached: list[int] = []

    def work(report: Report) -> None:
        begun.set()
        go.wait(5)
        report(0.5, "half")
        reached.append(1)

    job = jobs.start(work, reports=True)
    begun.wait(5)
    with qtbot.waitSignal(job.stopped):
        job.stop()
        go.set()
    assert reached == []


def test_work_that_waits_in_the_line_is_stopped_before_it_begins(jobs, qtbot) -> None:
    go = threading.Event()
    first = jobs.start(go.wait, 5)
    ran: list[int] = []
    second = jobs.start(lambda: ran.append(1))
    with qtbot.waitSignal(second.stopped):
        second.stop()
    go.set()
    with qtbot.waitSignal(first.done):
        pass
    assert ran == []


def test_work_that_was_left_is_not_heard_of(jobs, qtbot) -> None:
    heard: list[object] = []
    job = jobs.start(lambda: 1)
    job.done.connect(heard.append)
    job.leave()
    with qtbot.waitSignal(jobs.start(lambda: 2).done):
        pass
    qtbot.wait(20)
    assert heard == []
