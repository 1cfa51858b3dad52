"""A model on paper: what it forecasts, from which fields, read in which way. Nothing here has seen an eye."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from models.codebook import BY_NAME, CENTRE_GRADE, CODINGS, Kind, may_predict
from models.eligibility import ELIGIBILITY_FIELDS
from models.errors import ModelError
from models.outcome import CUT, WINDOW
from models.prior_table import read_prior_table

MODELS = ("booking", "end_of_case")


class TermKind(StrEnum):
    """How a term is read from its field."""

    LINEAR = "linear"
    """value / unit (yes counts as 1)."""
    LOG = "log"
    """ln(value) / unit; zero or less is a blank."""
    CODED = "coded"
    """0 or 1 by the table of codings."""
    DEPTH = "depth"
    """Chamber depth from the front of the cornea / unit; from the back, the thickness is added or it is a blank."""
    ENERGY = "energy"
    """ln(1 + reading), standardised within machine, metric and motion, times unit."""
    CURVE = "curve"
    """Curved term of a 3-knot restricted cubic spline of the depth, divided by its training SD."""


READ_WITH: Mapping[TermKind, tuple[str, ...]] = {
    TermKind.DEPTH: ("acd_definition", "cct_um"),
    TermKind.ENERGY: ("us_energy_value", "us_energy_metric", "us_motion", "phaco_machine_id"),
}
"""Fields that a kind of term reads besides its own: they say how to read the number, or which yardstick it has."""


@dataclass(frozen=True, slots=True)
class Term:
    """One column of a model. `unit`: how much of the field's unit counts as one step of the column."""

    name: str
    field: str
    kind: TermKind
    unit: float = 1.0
    label: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Cloudy: `field` >= cut at a visit window[0]..window[1] hours after surgery."""

    field: str = CENTRE_GRADE
    cut: int = CUT
    window: tuple[float, float] = WINDOW

    @property
    def words(self) -> str:
        """The definition in one line."""
        return f"central grade {self.cut} or more, {self.window[0]:g}-{self.window[1]:g} h after surgery"


@dataclass(frozen=True, slots=True)
class Spec:
    """A model on paper. Refuses, when made, every field that may not be a predictor of that model.

    missing: `conditional` (blanks get their conditional mean given the recorded fields). weights: `none`, or
    `halving`, an eye's weight halves every four quarters. prior: version of the prior table.
    """

    model: str
    terms: tuple[Term, ...]
    outcome: Outcome = field(default_factory=Outcome)
    missing: str = "conditional"
    prior: str = ""
    weights: str = "none"

    def __post_init__(self) -> None:
        if self.model not in MODELS:
            raise _refusal(f"There is no model of the kind {self.model}.", f"Name one of {', '.join(MODELS)}.")
        if self.outcome.field != CENTRE_GRADE or not 1 <= self.outcome.cut <= 4:
            raise _refusal("Its outcome is not a cut of the central grade.", "Cut the central grade at 1 to 4.")
        if not 0.0 <= self.outcome.window[0] < self.outcome.window[1]:
            raise _refusal("Its window has no length.", "Give the hours from and to.")
        if self.missing != "conditional" or self.weights not in ("none", "halving"):
            raise _refusal("Its rule for blanks or weights is unknown.", "Use conditional; none or halving.")
        names = [term.name for term in self.terms]
        if not names or len(set(names)) != len(names):
            raise _refusal("It has no terms, or two of one name.", "Give every term a name of its own.")
        for term in self.terms:
            _check_term(term, self.model)
        curves = [term for term in self.terms if term.kind is TermKind.CURVE]
        if curves and (len(curves) > 1 or curves[0] != self.terms[-1] or self.depth is None):
            raise _refusal("Its curve does not stand last after one depth.", "Put the depth in and the curve last.")

    @property
    def base(self) -> tuple[Term, ...]:
        """The terms without the curve, which follows from the depth."""
        return tuple(term for term in self.terms if term.kind is not TermKind.CURVE)

    @property
    def curved(self) -> bool:
        """Whether the depth has a curved term."""
        return self.terms[-1].kind is TermKind.CURVE

    @property
    def depth(self) -> int | None:
        """Column number of the depth, or None."""
        found = [j for j, term in enumerate(self.terms) if term.kind is TermKind.DEPTH]
        return found[0] if found else None

    @property
    def energy(self) -> int | None:
        """Column number of the energy score, or None."""
        found = [j for j, term in enumerate(self.terms) if term.kind is TermKind.ENERGY]
        return found[0] if found else None

    @property
    def predictors(self) -> tuple[str, ...]:
        """Fields that a person answers and the model forecasts from, in term order, each once."""
        return tuple(dict.fromkeys(term.field for term in self.terms))

    @property
    def fields(self) -> tuple[str, ...]:
        """Every field that the model reads: predictors, then what says how to read them."""
        others = [name for term in self.terms for name in READ_WITH.get(term.kind, ())]
        return tuple(dict.fromkeys((*self.predictors, *others)))

    @property
    def prints(self) -> dict[str, str]:
        """Codebook prints of every field whose meaning the model rests on, the rules and the outcome included."""
        names = dict.fromkeys((*self.fields, *ELIGIBILITY_FIELDS, self.outcome.field))
        return {name: BY_NAME[name].print for name in names}

    def with_curve(self) -> Spec:
        """The same model with the curved term of the depth."""
        if self.curved:
            return self
        return replace(self, terms=(*self.terms, Term("depth_curve", "acd_mm", TermKind.CURVE, 1.0, "Depth, curve")))

    def without(self, names: frozenset[str]) -> Spec:
        """The same model without the named terms; without the depth its curve goes too."""
        depth = self.depth
        if depth is not None and self.terms[depth].name in names:
            names = names | {term.name for term in self.terms if term.kind is TermKind.CURVE}
        return replace(self, terms=tuple(term for term in self.terms if term.name not in names))

    def without_curve(self) -> Spec:
        """The same model with the depth as a straight line only."""
        return replace(self, terms=self.base)

    def as_dict(self) -> dict[str, object]:
        """The JSON form."""
        return {
            "model": self.model,
            "outcome": {
                "field": self.outcome.field,
                "cut": self.outcome.cut,
                "window_hours": list(self.outcome.window),
            },
            "terms": [
                {"name": t.name, "field": t.field, "kind": t.kind.value, "unit": t.unit, "label": t.label}
                for t in self.terms
            ],
            "missing": self.missing,
            "prior": self.prior,
            "weights": self.weights,
            "fields": self.prints,
        }

    @classmethod
    def from_dict(cls, written: Mapping[str, object]) -> Spec:
        """Read the JSON form; ModelError when a key is missing or unknown, or a field now means something else."""
        _check_keys(written, {"model", "outcome", "terms", "missing", "prior", "weights", "fields"})
        outcome, terms = written["outcome"], written["terms"]
        if not isinstance(outcome, Mapping) or not isinstance(terms, list | tuple):
            raise _refusal("Its outcome or its terms cannot be read.", "Write the model anew.")
        _check_keys(outcome, {"field", "cut", "window_hours"})
        try:
            low, high = outcome["window_hours"]
            spec = cls(
                model=str(written["model"]),
                terms=tuple(_read_term(term) for term in terms),
                outcome=Outcome(str(outcome["field"]), int(outcome["cut"]), (float(low), float(high))),
                missing=str(written["missing"]),
                prior=str(written["prior"]),
                weights=str(written["weights"]),
            )
        except (TypeError, ValueError) as error:
            raise _refusal("A value in it has the wrong kind.", "Write the model anew.") from error
        _check_prints(written["fields"], spec.prints)
        return spec


def default_spec(model: str, *, curve: bool = False, cut: int = CUT) -> Spec:
    """The default model of a kind; `curve` adds the curved depth, for practices with 100 cloudy eyes or more."""
    terms = BOOKING_TERMS if model == "booking" else (*BOOKING_TERMS, *THEATRE_TERMS)
    spec = Spec(model, terms, Outcome(cut=cut), prior=read_prior_table().version)
    return spec.with_curve() if curve else spec


def _coded(name: str, label: str) -> Term:
    return Term(name, CODINGS[name].field, TermKind.CODED, 1.0, label)


BOOKING_TERMS: tuple[Term, ...] = (
    Term("age", "age_years", TermKind.LINEAR, 10.0, "Age, per 10 years"),
    _coded("female", "Female"),
    Term("hardness", "nucleus_hardness", TermKind.LINEAR, 1.0, "Nucleus hardness, per grade"),
    _coded("guttae_1_2", "Guttae, 1-12 or more than 12"),
    _coded("guttae_3_up", "Guttae, joined"),
    Term("depth", "acd_mm", TermKind.DEPTH, 1.0, "Chamber depth, per mm"),
    Term("thickness", "cct_um", TermKind.LINEAR, 34.0, "Thickness, per 34 um"),
    Term("cell_count", "ecd_per_mm2", TermKind.LINEAR, 500.0, "Cell count, per 500 a mm2"),
    _coded("diabetes", "Diabetes"),
    _coded("glaucoma", "Glaucoma"),
    _coded("pseudoexfoliation", "Pseudoexfoliation"),
    Term("axial_length", "axial_length_mm", TermKind.LINEAR, 1.2, "Axial length, per 1.2 mm"),
)

THEATRE_TERMS: tuple[Term, ...] = (
    Term("energy", "effective_phaco_time_s", TermKind.ENERGY, 0.55, "Energy, per 1.8 SD of its machine"),
    Term("fluid", "irrigation_volume_ml", TermKind.LOG, 1.0, "Fluid, per ln mL"),
    Term("minutes", "case_minutes", TermKind.LOG, 1.0, "Minutes, per ln min"),
    _coded("plane_iris", "Mostly in the iris plane"),
    _coded("plane_anterior_chamber", "Mostly in the front chamber"),
    _coded("capsule_rupture", "Capsule rupture"),
    _coded("divide_and_conquer", "Divide and conquer"),
    _coded("junior", "Trainee or junior operator"),
    _coded("soft_shell", "Both viscoelastics, layered"),
)


def _check_term(term: Term, model: str) -> None:
    if not may_predict(term.field, model):
        raise _refusal(
            f"The field {term.field} may not be a predictor of the model {model}.",
            "Use fields that are known when the model speaks, by the table of fields.",
        )
    kind = BY_NAME[term.field].kind
    fits = {
        TermKind.LINEAR: BY_NAME[term.field].numeric or kind is Kind.YES_NO,
        TermKind.LOG: BY_NAME[term.field].numeric,
        TermKind.CODED: term.name in CODINGS and CODINGS[term.name].field == term.field and term.unit == 1.0,
        TermKind.DEPTH: term.field == "acd_mm",
        TermKind.CURVE: term.field == "acd_mm",
        TermKind.ENERGY: term.field == "effective_phaco_time_s",
    }[term.kind]
    if not fits or not term.unit > 0.0:
        raise _refusal(f"The field {term.field} cannot be read as {term.kind.value}.", "Choose another kind of term.")


def _read_term(written: object) -> Term:
    if not isinstance(written, Mapping):
        raise _refusal("A term cannot be read.", "Write the model anew.")
    _check_keys(written, {"name", "field", "kind", "unit", "label"})
    return Term(
        str(written["name"]), str(written["field"]), TermKind(written["kind"]), float(written["unit"]),
        str(written["label"]),
    )  # fmt: skip


def _check_keys(written: Mapping[str, object], wanted: set[str]) -> None:
    if set(written) != wanted:
        named = ", ".join(sorted(set(written) ^ wanted))
        raise _refusal(f"These keys are missing or unknown: {named}.", "Write the model anew with this program.")


def _check_prints(given: object, own: dict[str, str]) -> None:
    if not isinstance(given, Mapping) or set(given) != set(own):
        raise _refusal("It does not say what its fields mean.", "Write the model anew with this program.")
    changed = [name for name in own if given[name] != own[name]]
    if changed:
        raise _refusal(
            f"Since it was written these fields have come to mean something else: {', '.join(changed)}.",
            "Train a new model; forecasts of the old one stay as they were stored.",
        )


def _refusal(why: str, next_: str) -> ModelError:
    return ModelError("The model cannot be used.", why, next_)
