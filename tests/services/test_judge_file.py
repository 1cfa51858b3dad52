"""Judging a table of chances and what was seen."""

from __future__ import annotations

from pathlib import Path

import dcurves
import pytest

from clinic_app.errors import Refusal
from clinic_app.services.judging import judge_file

CANCER = Path(dcurves.__file__).parent / "data" / "df_binary.csv"


def table(folder: Path, text: str) -> Path:
    path = folder / "guesses.csv"
    path.write_text(text, encoding="utf-8")
    return path


def rows(*pairs: tuple[object, object]) -> str:
    return "guess,cloudy,patient\n" + "".join(f"{risk},{seen},P{k // 2}\n" for k, (risk, seen) in enumerate(pairs))


MIXED = [(0.1, 0), (0.2, 1), (0.05, 0), (0.4, 1), (0.3, 0), (0.15, 0)] * 10


def test_known_data_set_gives_its_known_figures() -> None:
    # 750 persons, 105 events, package dcurves; C and Brier also from scikit-learn's roc_auc_score, brier_score_loss
    found = judge_file(CANCER, risk="cancerpredmarker", outcome="cancer", resamples=20)
    assert (found["n"], found["events"], found["left_out"]) == (750, 105, 0)
    assert found["c_statistic"]["value"] == pytest.approx(0.860628, abs=1e-6)  # type: ignore[index]
    assert found["brier"] == pytest.approx(0.084929, abs=1e-6)
    assert found["calibration_slope"]["value"] == pytest.approx(1.0, abs=1e-3)  # type: ignore[index]
    benefit = {round(row["threshold"], 2): row for row in found["net_benefit"]}  # type: ignore[attr-defined]
    assert benefit[0.10]["model"] == pytest.approx(0.087407, abs=1e-6)  # dcurves 1.1.7
    assert benefit[0.20]["all"] == pytest.approx(-0.075, abs=1e-6)


def test_yes_and_no_and_comma_decimals_and_patients_are_read(tmp_path: Path) -> None:
    words = [(str(risk).replace(".", ","), "yes" if seen else "No") for risk, seen in MIXED]
    text = "Guess;Cloudy;Patient\n" + "".join(f"{risk};{seen};P{k // 2}\n" for k, (risk, seen) in enumerate(words))
    found = judge_file(table(tmp_path, text), risk="guess", outcome="CLOUDY", cluster="patient", resamples=2)
    assert (found["n"], found["events"], found["clusters"]) == (60, 20, 30)
    alone = judge_file(table(tmp_path, rows(*MIXED)), risk="guess", outcome="cloudy", resamples=2)
    assert alone["clusters"] is None
    assert alone["brier"] == pytest.approx(found["brier"])


def test_blank_rows_are_left_out_and_counted(tmp_path: Path) -> None:
    found = judge_file(
        table(tmp_path, rows(*MIXED, ("", 1), (0.2, ""))),
        risk="guess",
        outcome="cloudy",
        cluster="patient",
        resamples=0,
    )
    assert (found["n"], found["left_out"]) == (60, 2)
    assert found["curve"] is None


@pytest.mark.parametrize(("seen", "kind"), [(0, 0), (1, 60)])
def test_one_kind_of_outcome_is_answered_with_reasons(tmp_path: Path, seen: int, kind: int) -> None:
    pairs = [(risk, seen) for risk, _ in MIXED]
    found = judge_file(table(tmp_path, rows(*pairs)), risk="guess", outcome="cloudy", resamples=10)
    assert (found["n"], found["events"]) == (60, kind)
    assert found["c_statistic"] is None
    assert found["scaled_brier"] is None
    # by hand: the mean of the squared distances of the six chances
    assert found["brier"] == pytest.approx(sum((seen - risk) ** 2 for risk, _ in MIXED) / 60, abs=1e-12)
    assert {"c_statistic", "scaled_brier"} <= set(found["reasons"])  # type: ignore[call-overload]


@pytest.mark.parametrize(
    ("text", "names", "part"),
    [
        (rows(*MIXED), {"risk": "chance", "outcome": "cloudy"}, "no column named chance"),
        (rows(*MIXED), {"risk": "guess", "outcome": "seen"}, "no column named seen"),
        (rows(*MIXED, (1.2, 0)), {"risk": "guess", "outcome": "cloudy"}, "Row 62 holds a chance outside 0 to 1"),
        (rows(*MIXED, (-0.1, 0)), {"risk": "guess", "outcome": "cloudy"}, "outside 0 to 1"),
        (rows(*MIXED, ("nan", 0)), {"risk": "guess", "outcome": "cloudy"}, "outside 0 to 1"),
        (rows(*MIXED, ("high", 0)), {"risk": "guess", "outcome": "cloudy"}, "not a number"),
        (rows(*MIXED, (0.1, 2)), {"risk": "guess", "outcome": "cloudy"}, "other than 0, 1, yes or no"),
        ("guess,cloudy\n", {"risk": "guess", "outcome": "cloudy"}, "holds a heading and no rows"),
        (rows(("", ""), (0.1, "")), {"risk": "guess", "outcome": "cloudy"}, "no eye with both"),
    ],
)
def test_refuses_in_three_sentences(tmp_path: Path, text: str, names: dict[str, str], part: str) -> None:
    with pytest.raises(Refusal) as refusal:
        judge_file(table(tmp_path, text), resamples=0, **names)  # type: ignore[arg-type]
    assert part in refusal.value.why
    assert refusal.value.what == "guesses.csv cannot be judged."
    for sentence in (refusal.value.what, refusal.value.why, refusal.value.next):
        assert sentence.endswith(".")
    assert "P0" not in str(refusal.value)
