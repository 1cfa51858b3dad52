"""Vision as read from a chart: the text is kept, a number follows only where one is known.

Snellen to decimal and logMAR: decimal = numerator / denominator, logMAR = -log10(decimal), by definition.
Letters: 85 - 50 x logMAR on charts with five letters a line (from memory). Single letters after a Snellen line
("+2", "-1") are kept as text and not converted, since Snellen lines hold unequal numbers of letters.
Counting fingers 1.98 and hand movements 2.28 logMAR: Lange C et al., Graefes Arch Clin Exp Ophthalmol
2009;247:137-142. Perception of light and none are not measurable: no number.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from clinic_app.domain.answers import Asked, Proposal, Refused
from clinic_app.domain.numbers import parse, show
from clinic_app.domain.words import same_words, tidy

NOTATIONS: tuple[str, ...] = ("snellen_metric", "snellen_imperial", "decimal", "logmar", "letters")
"""How a practice writes vision; says what a bare number means."""

COUNTING_FINGERS_LOGMAR = 1.98
HAND_MOVEMENTS_LOGMAR = 2.28

_CATEGORIES: MappingProxyType[str, tuple[str, float | None]] = MappingProxyType(
    {
        word: (category, logmar)
        for category, logmar, words in (
            (
                "CF",
                COUNTING_FINGERS_LOGMAR,
                ("cf", "fc", "countingfingers", "countfingers", "fingercounting", "fingercount"),
            ),
            ("HM", HAND_MOVEMENTS_LOGMAR, ("hm", "handmotion", "handmotions", "handmovement", "handmovements")),
            ("LP", None, ("lp", "pl", "lightperception", "perceptionoflight")),
            ("NLP", None, ("nlp", "npl", "nolightperception", "noperceptionoflight")),
        )
        for word in words
    }
)
_DISTANCE = re.compile(r"\s*(?:@|at)?\s*[0-9]+(?:[.,][0-9]+)?\s*(?:m|cm|ft|feet|foot|')\s*$", re.IGNORECASE)
_FRACTION = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*/\s*([0-9]+(?:[.,][0-9]+)?)\s*((?:[+\-]\s*[0-9])?)\s*")
_NAMED = re.compile(
    r"(?:(logmar|decimal|dec)\s*([+\-]?[0-9.,]+)|([+\-]?[0-9.,]+)\s*(logmar|decimal|dec|letters?))", re.IGNORECASE
)
_NEXT = "Write 6/12, 20/40, 0.5 decimal, 0.30 logMAR, 70 letters, CF, HM, LP or NLP."


@dataclass(frozen=True, slots=True)
class Vision:
    """A vision: the text as read, its category, and logMAR and decimal where a number is known.

    `category` is snellen, decimal, logmar, letters, CF, HM, LP or NLP. `extra` is what stood behind a Snellen line.
    """

    raw: str
    category: str
    logmar: float | None
    decimal: float | None
    extra: str = ""


def logmar_of_decimal(decimal: float) -> float:
    """logMAR of a decimal vision above 0."""
    return -math.log10(decimal) + 0.0


def decimal_of_logmar(logmar: float) -> float:
    """Decimal vision of a logMAR."""
    return float(10.0**-logmar)


def letters_of_logmar(logmar: float) -> float:
    """Letters read on a chart with five letters a line: 85 - 50 x logMAR (from memory)."""
    return 85.0 - 50.0 * logmar


def logmar_of_letters(letters: float) -> float:
    """logMAR of a number of letters on a chart with five letters a line."""
    return (85.0 - letters) / 50.0


def _of_number(raw: str, number: float, notation: str) -> Vision | Refused:
    if notation == "letters":
        logmar = logmar_of_letters(number)
    elif notation == "logmar":
        logmar = number
    else:
        logmar = logmar_of_decimal(number) if number > 0 else math.inf
    return _within(raw, notation if notation in ("letters", "logmar") else "decimal", logmar)


def _within(raw: str, category: str, logmar: float, extra: str = "") -> Vision | Refused:
    if not -0.3 - 1e-9 <= logmar <= 3.0 + 1e-9:
        return Refused(f"“{raw}” lies outside what charts measure (logMAR -0.3 to 3).", _NEXT)
    return Vision(raw, category, logmar, decimal_of_logmar(logmar), extra)


def _bare(raw: str, number: float, notation: str | None) -> Vision | Asked | Refused:
    if notation in ("decimal", "logmar", "letters"):
        return _of_number(raw, number, notation)
    shown = show(number)
    ways = (
        ("decimal", f"{shown} decimal", 0.01 <= number <= 1.99),
        ("logmar", f"{shown} logMAR", -0.3 <= number <= 3.0),
        ("letters", f"{shown} letters", number == int(number) and 3 < number <= 100),
    )
    proposals = tuple(Proposal(text, f"Use {text}", text) for _, text, possible in ways if possible)
    if not proposals:
        return Refused(f"“{raw}” is no vision.", _NEXT)
    words = " or ".join(proposal.text.split(" ", 1)[1] for proposal in proposals)
    return Asked(f"{raw}? {words[0].upper()}{words[1:]}?", proposals, "vision_notation")


@lru_cache(maxsize=4096)
def read_vision(text: str, notation: str | None = None) -> Vision | Asked | Refused:
    """The vision that a text writes; a bare number is read by `notation` and asked about when that does not say.

    `notation` is one of `NOTATIONS` or None.
    """
    raw = tidy(text)
    word = same_words(_DISTANCE.sub("", raw))
    if word in _CATEGORIES:
        category, logmar = _CATEGORIES[word]
        return Vision(raw, category, logmar, None if logmar is None else decimal_of_logmar(logmar))
    if fraction := _FRACTION.fullmatch(raw):
        top, bottom = (float(part.replace(",", ".")) for part in fraction.group(1, 2))
        if not (0 < top <= 20 and bottom > 0):
            return Refused(f"“{raw}” is no vision.", _NEXT)
        return _within(raw, "snellen", logmar_of_decimal(top / bottom), fraction[3].replace(" ", ""))
    if named := _NAMED.fullmatch(raw):
        name, number = (named[1] or named[4]).casefold(), parse(named[2] or named[3])
        if number is None:
            return Refused(f"“{raw}” is no vision.", _NEXT)
        value = number.value
        return _of_number(raw, value, {"dec": "decimal", "letter": "letters"}.get(name, name))
    number = parse(raw)
    if number is None:
        return Refused(f"“{raw}” is no vision that we know.", _NEXT)
    return _bare(raw, number.value, notation)


def logmar_text(logmar: float, notation: str) -> str:
    """A logMAR in the practice's notation (one of `NOTATIONS`), for screens: "6/12", "20/40", "0.50", "0.30 logMAR"."""
    if notation == "letters":
        return f"{letters_of_logmar(logmar):.0f} letters"
    if notation == "decimal":
        return f"{decimal_of_logmar(logmar):.2f}"
    if notation in ("snellen_metric", "snellen_imperial"):
        top = 6 if notation == "snellen_metric" else 20
        bottom = top / decimal_of_logmar(logmar)
        near = round(bottom)
        close = abs(bottom - near) <= 0.04 * bottom
        return f"{top}/{near}" if close or bottom >= 10 else f"{top}/{bottom:.1f}"
    return f"{logmar + 0.0:.2f} logMAR"
