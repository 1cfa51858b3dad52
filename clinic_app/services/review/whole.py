"""The review as a whole: gather the eyes, judge the forecasts, count the groups."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from clinic_app.domain.people import Duty
from clinic_app.domain.record import ModelEntry
from clinic_app.domain.reviewed import ModelPage, Review
from clinic_app.errors import Refusal
from clinic_app.services.review import measures
from clinic_app.services.review.afterwards import BASIS
from clinic_app.services.review.alarm import alarm_chart
from clinic_app.services.review.cards import beside_own_records, model_page
from clinic_app.services.review.causes import causes
from clinic_app.services.review.eyes import BASES, Eye, Gathered, gather
from clinic_app.services.review.groups import BOOKING_ONLY, by_chance_outside, by_quarter, by_surgeon, subgroups
from clinic_app.services.review.theatre import theatre
from clinic_app.session import Session
from models.codebook import MODEL_STAGES
from models.errors import ModelError
from models.judging import Judgement, judge
from models.monitor import exact_limits
from models.outcome import WINDOW
from models.progress import Report, silent

BEFOREHAND = "Forecast beforehand: each forecast was locked before the outcome was known and is never worked out again."
FILTER = "graded by someone who had not seen the forecast, in the window, not set aside"
RESAMPLES = 200


def review(
    session: Session,
    *,
    model: str = "booking",
    from_: date | None = None,
    to: date | None = None,
    basis: str | None = None,
    names: bool = False,
    report: Report = silent,
) -> Review:
    """Forecast beside seen for the eyes operated from `from_` to `to` (both included).

    `basis`: `beforehand` (forecasts locked before the outcome was known), `afterwards` (each quarter by a model made
    from earlier quarters only), None for beforehand where there are locked forecasts. The two are never mixed.
    `names`: surgeons by their code instead of a letter. Raises `Refusal` when the period holds no operated eye, and
    without the duty Surgeon or Data lead.
    """
    session.need(Duty.SURGEON, Duty.DATA_LEAD, act="Review")
    if model not in MODEL_STAGES or (basis is not None and basis not in BASES):
        raise Refusal(
            what="There is no such review.",
            why="A model is booking or end_of_case, a basis beforehand or afterwards.",
            next="Choose one of these.",
        )
    if from_ is not None and to is not None and from_ > to:
        raise Refusal("No review was made.", "The period ends before it begins.", "Exchange the two dates.")
    gathered = gather(session, model, from_, to, basis, report)
    if not (gathered.graded or gathered.ungraded or gathered.left_out):
        raise Refusal(
            what="No review was made.",
            why="The period holds no operated eye.",
            next="Choose a longer period, or import the practice's records first.",
        )
    report(0.85, "Judging the forecasts")
    made = _made(session, model, gathered, names)
    report(1.0, "Done")
    return made


def _made(session: Session, model: str, gathered: Gathered, names: bool) -> Review:
    eyes = gathered.graded
    risks = [eye.risk for eye in eyes]
    low, high = exact_limits(risks) if eyes else (0, 0)
    judgement = _judged(eyes)
    surgeons, note = by_surgeon(gathered, names=names) if model == "booking" else ((), BOOKING_ONLY)
    compared = subgroups(gathered)
    pages = _pages(session, gathered)
    cut = session.outcome_cut
    return Review(
        practice=session.settings.practice_name,
        demo=session.settings.demo,
        made_on=session.today(),
        model=model,
        model_id=", ".join(page.model_id for page in pages) or None,
        basis=gathered.basis,
        basis_words=BEFOREHAND if gathered.basis == "beforehand" else BASIS,
        period=_period(gathered),
        definition=f"cloudy: central grade {cut} or more, {WINDOW[0]:g} to {WINDOW[1]:g} h after surgery",
        filter_words=FILTER,
        left_out=gathered.left_out,
        n=len(eyes),
        events=sum(bool(eye.cloudy) for eye in eyes),
        clusters=len({eye.key.patient_id for eye in eyes}),
        expected=sum(risks),
        low=low,
        high=high,
        c_statistic=None if judgement is None else measures.estimate(judgement.c_statistic),
        brier=None if judgement is None else judgement.brier,
        scaled_brier=None if judgement is None else judgement.scaled_brier,
        observed_expected=None if judgement is None else measures.estimate(judgement.observed_expected),
        calibration_in_the_large=None if judgement is None else measures.estimate(judgement.calibration_in_the_large),
        calibration_slope=None if judgement is None else measures.estimate(judgement.calibration_slope),
        ici=None if judgement is None else judgement.ici,
        e50=None if judgement is None else judgement.e50,
        e90=None if judgement is None else judgement.e90,
        ici_if_perfect=None
        if judgement is None or judgement.ici_if_perfect is None
        else {"mean": judgement.ici_if_perfect.mean, "p95": judgement.ici_if_perfect.p95},
        reasons={"all": "There is no graded eye with a forecast."} if judgement is None else dict(judgement.reasons),
        groups=() if judgement is None else measures.bands(judgement),
        curve=None if judgement is None else measures.curve(judgement),
        net_benefit=() if judgement is None else measures.benefits(judgement),
        net_benefit_band=() if judgement is None else measures.benefit_band(judgement),
        planning=measures.planning(eyes, session.settings),
        histogram=measures.histogram(eyes),
        tally=measures.tally(eyes),
        alarm=alarm_chart(eyes, gathered.basis, session.card),
        missing_day_one=measures.missing_grades(eyes, gathered.ungraded),
        by_quarter=by_quarter(eyes),
        by_surgeon=surgeons,
        by_surgeon_note=note,
        subgroups=compared,
        groups_outside_by_chance=by_chance_outside(compared),
        theatre=theatre(eyes),
        causes=causes(eyes),
        beside_own_records=beside_own_records(eyes),
        model_pages=pages,
    )


def _judged(eyes: Sequence[Eye]) -> Judgement | None:
    if not eyes:
        return None
    return judge(
        [eye.risk for eye in eyes],
        [eye.seen for eye in eyes],
        clusters=[eye.key.patient_id for eye in eyes],
        resamples=RESAMPLES,
    )


def _period(gathered: Gathered) -> dict[str, str | None]:
    days = sorted(eye.key.surgery_date for eye in (*gathered.graded, *gathered.ungraded))
    return {"from": days[0].isoformat() if days else None, "to": days[-1].isoformat() if days else None}


def _pages(session: Session, gathered: Gathered) -> tuple[ModelPage, ...]:
    if gathered.basis != "beforehand":
        return ()
    used = {eye.model_id for eye in (*gathered.graded, *gathered.ungraded)}
    entries = [entry for entry in session.store.models() if entry.model_id in used]
    return tuple(_page(session, entry) for entry in sorted(entries, key=lambda entry: entry.number))


def _page(session: Session, entry: ModelEntry) -> ModelPage:
    try:
        return model_page(entry, session.card(entry.model_id))
    except ModelError as refused:
        return ModelPage(entry.model_id, (f"{refused.what} {refused.why}",), ())
