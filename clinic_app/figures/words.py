"""What a chart says in words: heading by rule, how to read it, and what stands below it. Window and papers print these.

Headings name the finding; the rules stand here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from clinic_app.domain.reviewed import (
    FEWEST_CLOUDY_JUDGED,
    FEWEST_EYES_OF_A_SURGEON,
    Review,
)

SURGEON_CAUTION = "Comparison charts judge the forecast, not a surgeon: case-mix and grader differ."
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
FEWEST_EXPECTED = 5.0
MODEL_WORDS = {"booking": "booking forecast", "end_of_case": "end-of-case forecast"}


@dataclass(frozen=True, slots=True)
class ChartWords:
    """Heading, reading line and footer of a chart."""

    heading: str
    reading: str
    footer: str


def count(number: float) -> str:
    """A number of eyes as whole eyes."""
    return f"{number:.0f}"


def in_eyes(difference: float) -> str:
    """A difference seen minus forecast in words: `7 fewer cloudy`, `as forecast`."""
    whole = round(abs(difference))
    if whole == 0:
        return "as forecast"
    return f"{whole} {'more' if difference > 0 else 'fewer'} cloudy"


def day_words(iso: str | None) -> str:
    """An ISO day as `19 Nov 2026`."""
    if iso is None:
        return ""
    day = date.fromisoformat(iso)
    return f"{day.day} {MONTHS[day.month - 1][:3]} {day.year}"


def too_few(review: Review) -> str:
    """The words in place of a chart."""
    return f"Too few to draw: {review.n} eyes, {review.events} cloudy"


def footer(review: Review) -> str:
    """What every chart says below: eyes, cloudy, forecast, period, definition, what was left out."""
    left = sum(review.left_out.values())
    parts = [
        f"{review.n} eyes, {review.events} cloudy",
        f"{MODEL_WORDS[review.model]}, {basis_short(review)}",
        f"{day_words(review.period['from'])} to {day_words(review.period['to'])}",
        review.definition,
        review.filter_words,
        f"left out: {left} eyes, and {review.missing_day_one.missing} without a usable grade",
    ]
    return " · ".join(part for part in parts if part.strip() != "to")


def basis_short(review: Review) -> str:
    """The basis in a few words, with the models where forecasts were locked."""
    if review.basis == "afterwards":
        return "worked out afterwards"
    return f"locked beforehand{f' ({review.model_id})' if review.model_id else ''}"


def forecast_check(review: Review) -> ChartWords:
    """Rule: a gap within the exact 95 % limits could be chance; with fewer than 30 cloudy eyes that says little."""
    gap = f"Forecast {count(review.expected)}, seen {review.events}"
    if review.too_few_to_draw:
        heading = f"{gap}. {too_few(review)}"
    elif not review.low <= review.events <= review.high:
        heading = f"{gap}: more than chance explains"
    elif review.too_few_to_judge:
        heading = f"{gap}: too few to judge"
    elif round(review.expected) == review.events:
        heading = f"{gap}: they agree"
    else:
        heading = f"{gap}: the gap could be chance"
    reading = "On the dashed line, forecast and seen agree. Below it, fewer cloudy eyes than forecast."
    if review.too_few_to_judge and not review.too_few_to_draw:
        reading += f" {_few(review)}"
    return ChartWords(heading, reading, f"{footer(review)} · planned protection may lower what is seen")


def running_tally(review: Review) -> ChartWords:
    """Rule: the tally left chance where it crossed the 99.8 % limits, once 5 cloudy eyes were expected."""
    crossed = next(
        (
            point
            for point in review.tally
            if point.expected >= FEWEST_EXPECTED and not point.low_998 <= point.difference <= point.high_998
        ),
        None,
    )
    if review.too_few_to_draw:
        heading = too_few(review)
    elif crossed is not None:
        heading = f"The running tally left what chance allows in {MONTHS[crossed.day.month - 1]} {crossed.day.year}"
    elif review.too_few_to_judge:
        heading = "The running tally stays within what chance allows: too few to judge"
    else:
        heading = "The running tally stays within what chance allows"
    return ChartWords(
        heading,
        "Each step up is one cloudy eye; each eye without one drifts down by its forecast.",
        "Limits are for a single look at the end. Crossing the dotted lines asks for a talk, first about the data, "
        "not for a verdict.",
    )


def quarters(review: Review) -> ChartWords:
    """Rule: quarters outside their 99.8 % limits are named; fewer than 5 expected gives no verdict."""
    rows = review.by_quarter
    outside = [row for row in rows if row.verdict in ("above", "below")]
    judged = [row for row in rows if row.verdict != "too_few"]
    if review.too_few_to_draw:
        heading = too_few(review)
    elif outside:
        named = ", ".join(f"{row.group} ({'more' if row.verdict == 'above' else 'fewer'})" for row in outside)
        heading = f"Outside what chance allows: {named}"
    elif not judged:
        heading = "Each quarter alone is too small to judge"
    else:
        heading = "No quarter stands apart from chance"
    reading = "Dots are what was seen, blue lines what was forecast. Inside the grey box the gap could be chance."
    small = len(rows) - len(judged)
    words = f" In {small} of {len(rows)} quarters fewer than 5 cloudy eyes were forecast: no verdict." if small else ""
    return ChartWords(heading, reading, f"Exact limits from each eye's own forecast; eyes taken one by one.{words}")


def surgeons(review: Review) -> ChartWords:
    """Rule: surgeons outside their 99.8 % limits are counted, never ranked."""
    drawn = [row for row in review.by_surgeon if row.n >= FEWEST_EYES_OF_A_SURGEON]
    outside = [row for row in drawn if row.verdict in ("above", "below")]
    if review.too_few_to_draw or not drawn:
        heading = too_few(review) if drawn else "Too few eyes per surgeon to draw"
    elif not outside:
        judged = [row for row in drawn if row.verdict != "too_few"]
        heading = "No surgeon stands apart from chance" if judged else "Each surgeon's eyes are too few to judge"
    else:
        verb = "surgeon lies" if len(outside) == 1 else "surgeons lie"
        heading = f"{len(outside)} {verb} outside; look at case-mix and examiner first"
    return ChartWords(
        heading,
        "Each mark is one surgeon against the forecast for that surgeon's own eyes.",
        f"{SURGEON_CAUTION} Surgeons with fewer than {FEWEST_EYES_OF_A_SURGEON} eyes are not drawn. "
        f"{review.by_surgeon_note}",
    )


def groups(review: Review) -> ChartWords:
    """Rule: groups outside their 99.8 % limits are named: the forecast runs low, or high, in them."""
    low = [f"{row.field_label}: {row.group}" for row in review.subgroups if row.verdict == "above"]
    high = [f"{row.field_label}: {row.group}" for row in review.subgroups if row.verdict == "below"]
    if low:
        heading = f"Forecast runs low in {'; '.join(low)}"
        heading += f", and high in {'; '.join(high)}" if high else ""
    elif high:
        heading = f"Forecast runs high in {'; '.join(high)}"
    else:
        heading = "No group stands out"
    return ChartWords(
        heading,
        f"Differences in small groups are mostly chance; {review.groups_looked_at} groups were looked at.",
        "Limits are exact. Fewer than 5 cloudy eyes forecast: no verdict.",
    )


def usefulness(review: Review) -> ChartWords:
    """Rule: at the practice's planning line, cloudy eyes flagged and eyes flagged in vain among 100."""
    plan = review.planning
    if review.too_few_to_draw:
        heading = too_few(review)
    elif plan is None:
        heading = "No planning line is set: what the forecast gains depends on it"
    else:
        heading = (
            f"At the planning line of {plan.line:g}, using the forecast flags {plan.flagged_cloudy:.1f} cloudy eyes in "
            f"100 for {plan.flagged_in_vain:.1f} planned in vain"
        )
    reading = "Higher is better; it matters only near the planning line."
    if review.too_few_to_judge and not review.too_few_to_draw:
        reading += f" {_few(review)}"
    set_by = f"Planning line set: {plan.set_by}. " if plan is not None and plan.set_by else ""
    return ChartWords(
        heading,
        reading,
        f"{set_by}Gain: cloudy eyes planned for, less those planned in vain weighed by the line (net benefit).",
    )


def missing_grades(review: Review) -> ChartWords:
    """Missing grades with their bounds; never counted as clear."""
    found = review.missing_day_one
    heading = f"{found.missing} of {found.eyes} eyes have no usable day-one grade"
    if found.eyes:
        heading += f" ({100 * found.missing / found.eyes:.0f} %)"
    return ChartWords(
        heading,
        f"Were all of them clear, {found.best.observed} would have been cloudy; were all of them cloudy, "
        f"{found.worst.observed}. Forecast for all of them: {count(found.best.expected)}.",
        "An eye without a grade is never counted as clear.",
    )


def _few(review: Review) -> str:
    return f"{review.events} cloudy eyes are too few to judge: fewer than {FEWEST_CLOUDY_JUDGED}."
