"""What a chart says in words: heading by rule, how to read it, and what stands below it. Window and papers print these.

Headings name the finding; the rules stand here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic_app.domain.reviewed import (
    FEWEST_CLOUDY_JUDGED,
    FEWEST_EYES_OF_A_SURGEON,
    NOT_BLIND,
    Counted,
    Review,
)
from clinic_app.domain.words import counted

SURGEON_CAUTION = "Comparison charts judge the forecast, not a surgeon: case-mix and grader differ."
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
FEWEST_EXPECTED = 5.0
FEWEST_EYES_SHAPING = 10
"""Eyes of a quarter from which its limits decide how far the axis goes."""
NOTHING_YET = "No graded eye with a forecast: nothing to look at yet"
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
    return f"Too few to draw: {eyes_and_cloudy(review)}" if review.n else NOTHING_YET


def eyes_and_cloudy(review: Review) -> str:
    """How many graded eyes, and how many of them cloudy: `792 eyes, 90 cloudy`."""
    return f"{counted(review.n, 'eye', 'eyes')}, {review.events} cloudy"


def facts(review: Review) -> tuple[tuple[str, str, str], ...]:
    """The four facts on top: number, what it counts, and its colour."""
    missing = review.missing_day_one
    share = f": {100 * review.events / review.n:.1f} in 100" if review.n else ""
    clear = f"{100 * (1 - review.events / review.n):.0f} %" if review.n else "–"
    forecast = count(review.expected)
    part = f" ({100 * missing.missing / missing.eyes:.0f} %)" if missing.eyes else ""
    return (
        (forecast, f"cloudy {_eyes(int(forecast))} forecast among {review.n}", "forecast"),
        (f"{review.events}", f"cloudy {_eyes(review.events)} seen{share}", "seen"),
        (clear, "clear centre on day one", "ink"),
        (
            f"{missing.missing}",
            f"of {counted(missing.eyes, 'eye', 'eyes')} {_have(missing.missing)} no usable day-one grade{part}",
            "ink",
        ),
    )


def footer(review: Review) -> str:
    """What every chart says below: eyes, cloudy, forecast, period, definition."""
    period = f"{day_words(review.period['from'])} to {day_words(review.period['to'])}"
    parts = [
        eyes_and_cloudy(review),
        f"{MODEL_WORDS[review.model]}, {basis_short(review)}",
        period if review.period["from"] else "",
        review.definition,
    ]
    return " · ".join(part for part in parts if part)


def left_out(review: Review) -> str:
    """Which eyes count and how many do not."""
    left = counted(sum(review.left_out.values()), "eye", "eyes")
    seen = review.left_out.get(NOT_BLIND, 0)
    among = f" ({seen} of them Not blind)" if seen else ""
    return (
        f"{review.filter_words} · left out: {left}{among}, and {review.missing_day_one.missing} without a usable grade"
    )


def left_out_list(review: Review) -> str:
    """Why eyes are left out, each reason with its count; empty where none is."""
    if not review.left_out:
        return ""
    most_first = sorted(review.left_out.items(), key=lambda one: -one[1])
    listed = "; ".join(f"{count} {why}{' (Not blind)' if why == NOT_BLIND else ''}" for why, count in most_first)
    return f"Left out, {counted(sum(review.left_out.values()), 'eye', 'eyes')}: {listed}."


def basis_short(review: Review) -> str:
    """The basis in a few words, with the models where forecasts were locked."""
    if review.basis == "afterwards":
        return "worked out afterwards"
    return f"locked beforehand{f' ({models_named(review)})' if review.model_id else ''}"


def models_named(review: Review) -> str:
    """The models by their names: `booking-2`, or the first and the last of several that follow one another."""
    names = [page.model_id for page in review.model_pages]
    numbers = [int(name.rpartition("-")[2]) for name in names]
    if len(names) > 2 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{names[0]} to {names[-1]}"
    return review.model_id or ""


def forecast_check(review: Review) -> ChartWords:
    """Rule: a gap within the exact 95 % limits could be chance; with fewer than 30 cloudy eyes that says little."""
    gap = f"Forecast {count(review.expected)}, seen {review.events}"
    if not review.n:
        heading = NOTHING_YET
    elif review.too_few_to_draw:
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
    below = f"{footer(review)} · {left_out(review)} · planned protection may lower what is seen"
    return ChartWords(heading, reading, below)


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
        f"not for a verdict. {footer(review)}",
    )


def alarm(review: Review) -> ChartWords:
    """Rule: the newest alarm of either side since the model in use came is named; one that is past is told below."""
    found = review.alarm
    if found.worse is None or found.better is None or found.false_alarm is None:
        return ChartWords(found.why or NOTHING_YET, "", footer(review))
    begun = max(found.restarts, default=None)
    alarms = sorted(
        (day, words)
        for side, words in ((found.worse, "more cloudy eyes"), (found.better, "fewer cloudy eyes"))
        for day in side.signals
    )
    now = [one for one in alarms if begun is None or one[0] >= begun]
    if review.too_few_to_draw:
        heading = too_few(review)
    elif now:
        day, words = now[-1]
        heading = f"Alarm in {MONTHS[day.month - 1]} {day.year}: {words} than forecast"
    else:
        heading = "No alarm: the practice has not moved away from its forecasts"
    past = (
        f" Under earlier models: {counted(len(alarms) - len(now), 'alarm', 'alarms')}."
        if len(alarms) > len(now)
        else ""
    )
    reading = "It climbs where eyes turn out other than forecast, and falls back where they do not. "
    reading += found.first_look if now else "Reaching a dashed line asks for a look at the data first."
    own = "the model's own uncertainty " + ("not known" if found.level_error is None else "included")
    limits = (
        f"Each limit gives a false alarm within a year of {found.eyes_a_year} eyes with a chance of "
        f"{count(100 * found.false_alarm)} in 100, {own}; they look for the odds of a "
        f"cloudy eye doubled or halved.{past}"
    )
    return ChartWords(heading, reading, f"{limits} {footer(review)}")


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
    of_all = f"{small} of {counted(len(rows), 'quarter', 'quarters')}"
    words = f" In {of_all} fewer than 5 cloudy eyes were forecast: no verdict." if small else ""
    limits = f"Exact limits from each eye's own forecast; eyes taken one by one.{words}{_beyond(review)}"
    return ChartWords(heading, reading, f"{limits} {footer(review)}")


def axis_top(rows: Sequence[Counted]) -> float:
    """Where the axis of the quarters ends, cloudy in 100: by the quarters of 10 or more eyes, by all where none is."""
    shaping = [row for row in rows if row.n >= FEWEST_EYES_SHAPING] or rows
    return min(101.0, 1.06 * max(100 * max(row.high_998, row.observed) / row.n for row in shaping))


def _beyond(review: Review) -> str:
    """The quarters that go beyond the axis, with their eyes."""
    rows = [row for row in review.by_quarter if row.n > 0]
    top = axis_top(rows) if rows else 0.0
    found = [row for row in rows if 100 * max(row.high_998, row.observed) / row.n > top]
    if not found:
        return ""
    named = ", ".join(f"{row.group} ({counted(row.n, 'eye', 'eyes')})" for row in found)
    small = f"quarters of fewer than {FEWEST_EYES_SHAPING} eyes do not shape the axis"
    return f" Cut off at the top, with an arrowhead: {named}; {small}."


def surgeons(review: Review) -> ChartWords:
    """Rule: surgeons outside their 99.8 % limits are counted, never ranked."""
    drawn = [row for row in review.by_surgeon if row.n >= FEWEST_EYES_OF_A_SURGEON]
    outside = [row for row in drawn if row.verdict in ("above", "below")]
    if review.too_few_to_draw:
        heading = too_few(review)
    elif review.model != "booking":
        heading = f"Surgeons are not compared by the {MODEL_WORDS[review.model]}"
    elif not review.by_surgeon:
        heading = "No surgeon was recorded"
    elif not drawn:
        heading = "Too few eyes per surgeon to draw"
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
        f"{review.by_surgeon_note} {footer(review)}",
    )


def groups(review: Review) -> ChartWords:
    """Rule: only groups outside their 99.8 % limits are named: the forecast runs low, or high, in them.

    Groups outside the 95 % limits alone are counted in the reading line, beside how many chance would put there.
    """
    low = [f"{row.field_label}: {row.group}" for row in review.subgroups if row.verdict == "above"]
    high = [f"{row.field_label}: {row.group}" for row in review.subgroups if row.verdict == "below"]
    judged = [row for row in review.subgroups if row.verdict != "too_few"]
    if not review.n:
        heading = NOTHING_YET
    elif low:
        heading = f"Forecast runs low in {'; '.join(low)}"
        heading += f", and high in {'; '.join(high)}" if high else ""
    elif high:
        heading = f"Forecast runs high in {'; '.join(high)}"
    elif not judged:
        heading = "Each group alone is too small to judge"
    else:
        heading = "No group stands out"
    return ChartWords(
        heading,
        f"Differences in small groups are mostly chance; {_looked_at(review, judged)}",
        f"Limits are exact, eyes taken one by one. Fewer than 5 cloudy eyes forecast: no verdict. {footer(review)}",
    )


def _looked_at(review: Review, judged: list[Counted]) -> str:
    """How many groups were compared, how many could be judged, and how many of these chance puts outside."""
    surgeons_too = (
        f" ({counted(len(review.by_surgeon), 'surgeon', 'surgeons')} among them)" if review.by_surgeon else ""
    )
    said = f"{counted(review.groups_looked_at, 'group was', 'groups were')} looked at{surgeons_too}."
    if not judged:
        return said
    outside = counted(sum(row.outside_19_in_20 for row in judged), "lies", "lie")
    return (
        f"{said} Of the {len(judged)} in this table with 5 or more cloudy eyes forecast, {outside} outside the "
        f"19-in-20 limits; chance alone puts up to {review.groups_outside_by_chance:.1f} there."
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
    text = plan.set_by.strip().rstrip(".") if plan is not None else ""
    set_by = f"Planning line: {text[0].lower() if text.startswith('Set ') else text[0]}{text[1:]}. " if text else ""
    return ChartWords(
        heading,
        reading,
        f"{set_by}Gain: cloudy eyes planned for, less those planned in vain weighed by the line (net benefit). "
        f"{footer(review)}",
    )


def missing_grades(review: Review) -> ChartWords:
    """Missing grades with their bounds; never counted as clear."""
    found = review.missing_day_one
    never = f"An eye without a grade is never counted as clear. {footer(review)}"
    if not found.eyes:
        return ChartWords(
            "No eye with a forecast is past its day one: nothing to look at yet",
            "Missing grades are counted once the day after surgery is past.",
            never,
        )
    of_all = f"{found.missing} of {counted(found.eyes, 'eye', 'eyes')}"
    heading = f"{of_all} {_have(found.missing)} no usable day-one grade ({100 * found.missing / found.eyes:.0f} %)"
    if not found.missing:
        return ChartWords("Every eye with a forecast has a usable day-one grade", "Nothing is missing.", never)
    return ChartWords(
        heading,
        f"{found.graded.observed} of the graded eyes were cloudy. Were every missing grade clear, "
        f"{found.best.observed} of all {found.eyes} would be cloudy; were every one cloudy, {found.worst.observed}. "
        f"Forecast for all of them: {count(found.best.expected)}.",
        never,
    )


def _few(review: Review) -> str:
    few = counted(review.events, "cloudy eye is", "cloudy eyes are")
    return f"{few} too few to judge: fewer than {FEWEST_CLOUDY_JUDGED}."


def _have(number: int) -> str:
    return "has" if number == 1 else "have"


def _eyes(number: int) -> str:
    return "eye" if number == 1 else "eyes"
