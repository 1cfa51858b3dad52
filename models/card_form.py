"""The form of a card's JSON: strict reading, exact writing, and the hash of its content. Refuse, never repair."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from models.errors import ModelError

FORMAT = 1
LARGEST = 1 << 20
"""Bytes of a card at most."""

DEEPEST = 12
"""Nesting of a card at most."""


@dataclass(frozen=True, slots=True)
class Maybe:
    """The form, or null."""

    form: object


@dataclass(frozen=True, slots=True)
class Each:
    """An object with any keys, every value of the form."""

    form: object


DATE = "date"
ANSWER = "answer"
FIGURES = {
    "c_statistic": Maybe(float),
    "brier": Maybe(float),
    "calibration_in_the_large": Maybe(float),
    "calibration_slope": Maybe(float),
}
COUNTS = dict.fromkeys(FIGURES, int)
SIZE = {
    "shrinkage_n": int, "optimism_n": int, "intercept_n": int, "error_n": int, "required": int, "parameters": int,
    "c_statistic": float,
}  # fmt: skip
CARD = {
    "format": int,
    "model": str,
    "spec": {
        "model": str,
        "outcome": {"field": str, "cut": int, "window_hours": [float]},
        "terms": [{"name": str, "field": str, "kind": str, "unit": float, "label": str}],
        "missing": str,
        "prior": str,
        "weights": str,
        "fields": Each(str),
    },
    "formula": {
        "intercept": float,
        "terms": [
            {
                "name": str, "coefficient": float, "posterior_se": float, "low": float, "high": float,
                "centre": float, "prior_mean": float, "prior_sd": float, "source": str, "own_choice": bool,
            }
        ],
        "covariance": [[float]],
        "form_sd": float,
        "knots": Maybe([float]),
        "curve_sd": float,
        "blanks": {"linked": bool, "mean": [float], "covariance": [[float]]},
        "energy": Maybe(
            {
                "machines": [str],
                "yardsticks": [
                    {"machine": str, "metric": str, "motion": str, "n": int, "median": float, "spread": float}
                ],
            }
        ),
        "lowest": [float],
        "highest": [float],
        "edge": float,
        "beyond": float,
    },
    "prior": {"version": str, "strength": float, "own_data_share": float},
    "weights": {"rule": str, "effective_n": float, "intercept_shift": float, "shifted_until": Maybe(DATE)},
    "training": {
        "first": DATE, "last": DATE, "until": Maybe(DATE), "n": int, "events": int, "patients": int, "inferred": int,
        "excluded": Each(int), "unseen": Each(int), "terms_left_out": Each(str), "blank_shares": Each(float),
    },
    "judgement": {
        "apparent": FIGURES,
        "corrected": FIGURES,
        "resamples": int,
        "failed_resamples": int,
        "redrawn_resamples": int,
        "figure_resamples": COUNTS,
        "resampled_blanks": str,
        "optimism_se": FIGURES,
        "stability": Maybe({"median": float, "p95": float, "resamples": int}),
        "adequacy": {
            "tier": str, "words": str, "shrinkage": float, "mostly_published": bool, "sample_size": Maybe(SIZE),
        },
    },
    "own_records_only": Maybe(
        {
            "penalty": float,
            "folds": int,
            "folds_left_out": int,
            "intercept": float,
            "terms": [{"name": str, "coefficient": float, "centre": float}],
            "apparent": FIGURES,
            "corrected": FIGURES,
            "figure_resamples": COUNTS,
        }
    ),
    "usual": Maybe(
        {
            "quantiles": [float],
            "predictors": [str],
            "fields": Each(str),
            "fill": [float],
            "lines": [
                {
                    "field": str, "machine": str, "metric": str, "motion": str, "method": str, "n": int,
                    "coefficients": [[float]], "lowest": [float], "highest": [float],
                }
            ],
        }
    ),
    "seed": int,
    "software": Each(str),
    "test_vectors": [
        {
            "row": Each(ANSWER),
            "expected": {"status": str, "log_odds": float, "risk": float, "low": float, "high": float},
        }
    ],
    "hash": str,
}  # fmt: skip
"""What a card of format 1 holds; other keys, missing keys and other kinds of value are refused."""


def parse(text: str | bytes) -> dict[str, object]:
    """Read a card's text strictly and check it against its form and its own hash."""
    raw = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    if len(raw) > LARGEST:
        raise refusal("It is larger than 1 MiB.")
    try:
        decoded = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise refusal("It is not UTF-8 text.") from error
    if _depth(decoded) > DEEPEST:
        raise refusal(f"It is nested deeper than {DEEPEST}.")
    try:
        written = json.loads(decoded, object_pairs_hook=_once, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise refusal(f"It is not JSON (line {error.lineno}).") from error
    except ValueError as error:
        raise refusal("It holds a number that no card holds.") from error
    if not isinstance(written, dict) or written.get("format") != FORMAT:
        raise refusal(f"It is not a card of format {FORMAT}.", "Use the program version that wrote it.")
    _check(written, CARD, "card")
    if written["hash"] != _hash_or_none(written):
        raise refusal("Its content does not match its own hash; it was changed after it was written.")
    return written


def content_hash(written: Mapping[str, object]) -> str:
    """SHA-256 over the canonical JSON of everything but `hash`."""
    rest = {key: value for key, value in written.items() if key != "hash"}
    canonical = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(canonical.encode("utf-8")).hexdigest()


def _hash_or_none(written: Mapping[str, object]) -> str | None:
    try:
        return content_hash(written)
    except UnicodeEncodeError:
        return None


def write(written: Mapping[str, object]) -> str:
    """The card's text: one term, one matrix row a line; floats so that they read back bit for bit."""
    return _text(written, "") + "\n"


def refusal(why: str, next_: str = "Fetch the card again from where it was written.") -> ModelError:
    """The refusal of a card."""
    return ModelError("The card cannot be used.", why, next_)


def _text(value: object, indent: str) -> str:
    inner = indent + "  "
    if isinstance(value, Mapping) and value:
        parts = [f"{inner}{json.dumps(key, ensure_ascii=False)}: {_text(item, inner)}" for key, item in value.items()]
        return "{\n" + ",\n".join(parts) + f"\n{indent}}}"
    if isinstance(value, list) and any(isinstance(item, list | dict) for item in value):
        parts = [inner + (_text(item, inner) if _tall(item) else _line(item)) for item in value]
        return "[\n" + ",\n".join(parts) + f"\n{indent}]"
    return _line(value)


def _tall(value: object) -> bool:
    items = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return any(isinstance(item, list | dict) for item in items)


def _line(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _check(value: object, form: object, path: str) -> None:
    if isinstance(form, Maybe):
        if value is not None:
            _check(value, form.form, path)
    elif isinstance(form, Each):
        for key, item in _object(value, path).items():
            _check(item, form.form, f"{path}.{key}")
    elif isinstance(form, dict):
        found = _object(value, path)
        if set(found) != set(form):
            raise refusal(f"{path}: missing or unknown keys {', '.join(sorted(set(found) ^ set(form)))}.")
        for key, part in form.items():
            _check(found[key], part, f"{path}.{key}")
    elif isinstance(form, list):
        if not isinstance(value, list):
            raise refusal(f"{path} is no list.")
        for place, item in enumerate(value):
            _check(item, form[0], f"{path}[{place}]")
    elif not _plain(value, form):
        raise refusal(f"{path} does not hold what it must.")


def _plain(value: object, form: object) -> bool:
    if form == DATE:
        try:
            return isinstance(value, str) and date.fromisoformat(value).isoformat() == value
        except ValueError:
            return False
    if form == ANSWER:
        return isinstance(value, str | bool) or _plain(value, float)
    if isinstance(value, bool):
        return form is bool
    if form is int or isinstance(value, int):
        # Whole numbers beyond what a float holds exactly are none that a card writes.
        return form in (int, float) and type(value) is int and abs(value) <= 1 << 53
    if form is float:
        return isinstance(value, float) and math.isfinite(value)
    return isinstance(form, type) and isinstance(value, form)


def _object(value: object, path: str) -> dict[str, object]:
    if not isinstance(value, dict):
        raise refusal(f"{path} is no object.")
    return value


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise refusal("It names a key twice.")
    return found


def _no_constant(name: str) -> object:
    raise refusal(f"It holds {name}, which is not a finite number.")


def _depth(text: str) -> int:
    """Deepest nesting of brackets outside strings; read before parsing, so that no text can exhaust the parser."""
    deepest = depth = 0
    quoted = escaped = False
    for letter in text:
        if quoted:
            if escaped:
                escaped = False
            elif letter == "\\":
                escaped = True
            elif letter == '"':
                quoted = False
        elif letter == '"':
            quoted = True
        elif letter in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif letter in "]}":
            depth -= 1
    return deepest
