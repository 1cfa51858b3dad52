"""A model's card: the readable JSON that holds everything needed to apply, judge and rebuild the model."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from models.batch import Scores
from models.card_form import FORMAT, content_hash, parse, refusal, write
from models.card_page import card_page
from models.energy import EnergyScale, Yardstick
from models.forecast import Forecast, Forecaster
from models.formula import Formula, expit
from models.nucleus import Usual, UsualUse
from models.spec import Spec

Row = Mapping[str, object]

EXACT = 1e-9
"""How closely a card must reproduce its own test vectors."""


@dataclass(frozen=True, eq=False)
class Card:
    """A card read and checked, ready to forecast. Made by `read_card` or `compose`, never by hand."""

    written: Mapping[str, Any]
    formula: Formula
    forecaster: Forecaster
    usual_use: UsualUse | None

    @property
    def model(self) -> str:
        """`booking` or `end_of_case`."""
        return self.formula.spec.model

    @property
    def spec(self) -> Spec:
        """The model on paper."""
        return self.formula.spec

    @property
    def fields(self) -> tuple[str, ...]:
        """Codebook names that a forecast reads."""
        return self.formula.spec.fields

    @property
    def outcome(self) -> str:
        """What counts as cloudy, in words."""
        return self.formula.spec.outcome.words

    @property
    def training(self) -> Mapping[str, Any]:
        """Period (`first`, `last`), counts (`n`, `events`, `patients`...) and what was left out."""
        training: Mapping[str, Any] = self.written["training"]
        return training

    @property
    def seen_until(self) -> date:
        """Last surgery date whose outcome the model has seen, in its training or in a later shift of its average."""
        shifted = self.written["weights"]["shifted_until"]
        return max(date.fromisoformat(str(one)) for one in (self.training["last"], shifted) if one is not None)

    @property
    def judgement(self) -> Mapping[str, Any]:
        """Apparent and corrected figures, and whether the data are enough."""
        judgement: Mapping[str, Any] = self.written["judgement"]
        return judgement

    @property
    def cloudy(self) -> int:
        """Cloudy eyes behind the model."""
        return int(self.training["events"])

    @property
    def hash(self) -> str:
        """SHA-256 of the content."""
        return str(self.written["hash"])

    def to_text(self) -> str:
        """The card's JSON; reading it and writing it again gives the same bytes."""
        return write(self.written)

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write the card, wholly or not at all."""
        target = Path(path)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".card-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(self.to_text().encode("utf-8"))
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(target)
            _settle(target.parent)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise

    def forecast(self, rows: Iterable[Row]) -> list[Forecast]:
        """One forecast a row, in order; a row of an eye operated before says so (`eligibility.OPERATED_BEFORE`)."""
        return [self.forecaster.forecast(row) for row in rows]

    def columns(self, rows: Iterable[Row]) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Base columns [n, q] of rows, NaN where they leave one open: what `scores` reads."""
        read = [self.forecaster.working.read(row) for row in rows]
        return np.asarray(read, dtype=np.float64).reshape(len(read), len(self.spec.base))

    def scores(self, columns: ArrayLike, *, ranges: bool = False) -> Scores:
        """Chances of many eyes at once, with `ranges` their 95 % ranges too; no eye is refused, nothing is said.

        ModelError for another shape than [n, q] or an infinite number.
        """
        return self.forecaster.working.scores(columns, ranges=ranges)

    def own_records_risk(self, row: Row) -> float | None:
        """Chance by the own-records-only model beside it, for judging on the same eyes; None where this card refuses
        or own records carry no model."""
        own = self.written["own_records_only"]
        if own is None or self.forecaster.forecast(row).risk is None:
            return None
        working = self.forecaster.working
        numbers = working.work(working.columns(row))
        place = {term.name: j for j, term in enumerate(self.spec.base)}
        slopes = np.zeros(len(place))
        eta = float(own["intercept"])
        for term in own["terms"]:
            j = place[term["name"]]
            slopes[j] = term["coefficient"]
            value = numbers.away[j] + self.formula.centre[j]
            eta += float(term["coefficient"]) * float(value - term["centre"])
        bent = slopes[numbers.open]
        variance = max(0.0, float(bent @ numbers.left @ bent))
        return expit(eta / float(np.sqrt(1.0 + np.pi * variance / 8.0)))

    def usual(self, row: Row) -> dict[str, Usual]:
        """{field: what is usual for a nucleus like this one, and the case beside it}; empty where nothing is known."""
        return {} if self.usual_use is None else self.usual_use.of(row)

    def summary_lines(self) -> tuple[str, ...]:
        """A few lines about the model."""
        training, judgement = self.training, self.judgement
        kind = "Booking" if self.model == "booking" else "End-of-case"
        corrected = judgement["corrected"]["c_statistic"]
        lines = [
            f"{kind} model, trained on surgeries from {training['first']} to {training['last']}.",
            f"{training['n']} eyes of {training['patients']} patients, {training['events']} cloudy.",
            f"Cloudy: {self.outcome}.",
            f"Own-data share {round(100.0 * self.written['prior']['own_data_share'])} %, "
            f"prior table {self.written['prior']['version']}.",
        ]
        if judgement["adequacy"]["mostly_published"]:
            lines.append("Mostly published evidence.")
        if corrected is not None:
            lines.append(f"C statistic, corrected for optimism: {corrected:.2f}.")
        lines.append(
            "Every eye counts alike." if self.written["weights"]["rule"] == "none"
            else "An eye's weight halves every four quarters."
        )  # fmt: skip
        return tuple(lines)

    def as_page(self) -> str:
        """The card as plain text from which a statistician can build the model again by hand."""
        return card_page(self.written, self.formula, self.summary_lines())


def read_card(source: str | bytes | os.PathLike[str]) -> Card:
    """Read a card from a path or from its text; ModelError with what, why and next when it cannot be trusted.

    Refused: no UTF-8, over 1 MiB, nested over 12, a key twice, missing or unknown, a number that is not finite,
    dimensions that disagree, a covariance not symmetric or with a negative variance, a field that now means something
    else, a hash that does not match, a test vector that does not reproduce to 1e-9.
    """
    if isinstance(source, bytes) or (isinstance(source, str) and source.lstrip().startswith("{")):
        return card_of(parse(source))
    try:
        content = Path(source).read_bytes()
    except (OSError, ValueError) as error:
        raise refusal("The file cannot be read.", "Check the path of the card.") from error
    return card_of(parse(content))


def card_of(written: Mapping[str, Any]) -> Card:
    """The card of checked JSON; its test vectors are worked out again."""
    spec = Spec.from_dict(written["spec"])
    if written["model"] != spec.model:
        raise refusal("It names two kinds of model.")
    formula = _formula(spec, written["formula"])
    usual = None if written["usual"] is None else UsualUse.from_dict(written["usual"])
    card = Card(written, formula, Forecaster(formula), usual)
    _check_own(written["own_records_only"], spec)
    if not written["test_vectors"]:
        raise refusal("It holds no test vectors.")
    for vector in written["test_vectors"]:
        again = evaluate(card.forecaster, vector["row"])
        expected = vector["expected"]
        away = [abs(float(again[name]) - float(expected[name])) for name in ("log_odds", "risk", "low", "high")]
        if again["status"] != expected["status"] or not max(away) <= EXACT:
            raise refusal(
                "Its test vectors do not reproduce; its numbers would mean something else here.",
                "Use the program version that wrote it, or train a new model.",
            )
    return card


def compose(sections: Mapping[str, Any], rows: Sequence[Row]) -> Card:
    """A new card from its sections (all but format, test vectors and hash); `rows` become its test vectors."""
    formula = _formula(Spec.from_dict(sections["spec"]), sections["formula"])
    forecaster = Forecaster(formula)
    vectors = [{"row": dict(row), "expected": evaluate(forecaster, row)} for row in rows]
    written: dict[str, Any] = {"format": FORMAT, **sections, "test_vectors": vectors}
    written["hash"] = content_hash(written)
    return card_of(parse(write(written)))


def evaluate(forecaster: Forecaster, row: Row) -> dict[str, Any]:
    """The numbers of a test vector, worked out even where the eye itself would be refused."""
    numbers = forecaster.working.work(forecaster.working.columns(row))
    status = forecaster.forecast(row).status
    return {
        "status": status, "log_odds": numbers.eta, "risk": numbers.risk, "low": numbers.low, "high": numbers.high,
    }  # fmt: skip


def _formula(spec: Spec, written: Mapping[str, Any]) -> Formula:
    terms = written["terms"]
    if [term["name"] for term in terms] != [term.name for term in spec.terms]:
        raise refusal("Its terms and its coefficients do not belong together.")
    knots = written["knots"]
    if knots is not None and len(knots) != 3:
        raise refusal("Its curve does not have three knots.")
    if any(term["posterior_se"] <= 0.0 for term in terms):
        raise refusal("A standard error of its terms is not above zero.")
    scale = None
    if written["energy"] is not None:
        sticks = {
            (stick["machine"], stick["metric"], stick["motion"]): Yardstick(
                stick["n"], stick["median"], stick["spread"]
            )
            for stick in written["energy"]["yardsticks"]
        }
        if any(stick.spread <= 0.0 for stick in sticks.values()):
            raise refusal("A yardstick of its energy has no spread.")
        scale = EnergyScale(sticks, tuple(written["energy"]["machines"]))
    return Formula(
        spec=spec,
        intercept=written["intercept"],
        centre=np.asarray([term["centre"] for term in terms]),
        coefficients=np.asarray([term["coefficient"] for term in terms]),
        covariance=_matrix(written["covariance"]),
        form_sd=written["form_sd"],
        mean=np.asarray(written["blanks"]["mean"]),
        field_covariance=_matrix(written["blanks"]["covariance"]),
        knots=None if knots is None else (knots[0], knots[1], knots[2]),
        curve_sd=written["curve_sd"],
        energy=scale,
        lowest=np.asarray(written["lowest"]),
        highest=np.asarray(written["highest"]),
        edge=written["edge"],
        beyond=written["beyond"],
    )


def _matrix(rows: Sequence[Sequence[float]]) -> np.ndarray[Any, np.dtype[np.float64]]:
    if len({len(row) for row in rows}) > 1:
        raise refusal("The rows of a covariance are not equally long.")
    return np.asarray(rows, dtype=np.float64)


def _settle(folder: Path) -> None:
    """Make the new name in the folder outlast a power cut, where the system knows how."""
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _check_own(own: Mapping[str, Any] | None, spec: Spec) -> None:
    if own is None:
        return
    names = [term["name"] for term in own["terms"]]
    if len(set(names)) != len(names) or not set(names) <= {term.name for term in spec.base}:
        raise refusal("Its own-records-only model names terms that it does not have.")
