"""Commands that fit, compare and decide about models."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import click

from clinic_app.cli.call import Call, table
from clinic_app.cli.opening import opened
from clinic_app.cli.options import DAY, KIND, day
from clinic_app.cli.status import DONE
from clinic_app.domain.words import counted
from clinic_app.services import decisions
from clinic_app.services.comparison import compare as compared
from clinic_app.services.training import train_candidate


def _signed(command: Callable[..., int]) -> Callable[..., int]:
    """The two things that every signed act needs."""
    command = click.option("--reason", required=True, help="Why; written to the history.")(command)
    return click.option("--by", required=True, metavar="NAME", help="Who signs.")(command)


@click.command("train")
@click.option("--model", type=KIND, required=True, help="Which model to fit.")
@click.option("--until", type=DAY, default=None, help="Last surgery date to learn from.")
@click.option("--resamples", type=click.IntRange(0, 1000), default=200, show_default=True, help="For the optimism.")
@click.option(
    "--blanks",
    type=click.Choice(["redone", "frozen"]),
    default="redone",
    show_default=True,
    help="What resamples do about blanks: learn everything anew, or refit alone (much faster).",
)
@click.option("--seed", type=int, default=1, show_default=True)
@click.pass_obj
def train(call: Call, model: str, until: datetime | None, resamples: int, blanks: str, seed: int) -> int:
    """Fit a candidate from the practice's records; the model in use stays as it is. Needs the duty Data lead."""
    with opened(call) as session, call.progress("Fit") as report:
        found = train_candidate(
            session, model=model, until=day(until), resamples=resamples, blanks=blanks, seed=seed, report=report
        )
    corrected = found["corrected"]
    prior = found["prior"]
    rows = ((one["name"], *(f"{one[part]:.3f}" for part in ("coefficient", "low", "high"))) for one in found["terms"])
    left_out = ", ".join(f"{count} {why.replace('_', ' ')}" for why, count in found["excluded"].items() if count)
    lines = [
        f"{found['model_id']}: a candidate from {counted(found['n'], 'eye', 'eyes')} of "
        f"{counted(found['patients'], 'patient', 'patients')}, "
        f"{found['events']} cloudy.",
        f"Own-data share {prior['own_data_share']:.0%}; the rest is published evidence, table {prior['version']}.",
        _corrected_words(corrected, resamples, blanks),
        _stability_words(found["stability"]),
        "",
        *table(("term", "log odds", "from", "to"), rows),
        "",
        f"Left out: {left_out or 'none'}.",
        f"Nothing changes until a named person adopts it: clinic-app adopt {found['model_id']} --by NAME --reason TEXT",
    ]
    call.answer(found, lines)
    return DONE


def _corrected_words(corrected: dict[str, float | None], resamples: int, blanks: str) -> str:
    """The figures corrected for optimism and how, or that there are none."""
    ranked, brier, slope = (corrected[name] for name in ("c_statistic", "brier", "calibration_slope"))
    if ranked is None or brier is None or slope is None:
        return "Not corrected for optimism: no resamples, or none that could be judged."
    how = "everything learnt anew in each" if blanks == "redone" else "blanks kept as all eyes filled them"
    return (
        f"Corrected for optimism by {counted(resamples, 'resample', 'resamples')} of the patients ({how}): "
        f"C statistic {ranked:.3f}, Brier {brier:.4f}, calibration slope {slope:.2f}."
    )


def _stability_words(stability: dict[str, float] | None) -> str:
    """How far other patients would have moved a forecast."""
    if stability is None:
        return "How far other patients would have moved a forecast was not worked out."
    return (
        f"Other patients of the practice would have moved the forecast of half the eyes by less than "
        f"{100 * stability['median']:.1f} points, of 19 in 20 by less than {100 * stability['p95']:.1f}."
    )


@click.command("models")
@click.pass_obj
def models(call: Call) -> int:
    """The models of the practice."""
    with opened(call, reading=True) as session:
        found = decisions.models(session)
    rows = ((one["model_id"], one["model"], one["state"], one["made_at"][:10], one["decided_by"]) for one in found)
    call.answer(
        {"models": found},
        table(("id", "model", "state", "made", "decided by"), rows)
        if found
        else ["No models yet. Fit the first one with: clinic-app train --model booking"],
    )
    return DONE


@click.command("compare")
@click.argument("model_id", metavar="ID")
@click.pass_obj
def compare(call: Call, model_id: str) -> int:
    """A candidate against the model in use, on eyes that neither has seen. Needs the duty Data lead or Surgeon."""
    with opened(call, reading=True) as session, call.progress("Compare") as report:
        found = compared(session, model_id, report=report)
    call.answer(found, found["sentences"])
    return DONE


@click.command("adopt")
@click.argument("model_id", metavar="ID")
@_signed
@click.pass_obj
def adopt(call: Call, model_id: str, by: str, reason: str) -> int:
    """Put a candidate in use; the model in use until now becomes a past one. Needs the duty Surgeon."""
    with opened(call, person=by) as session:
        found = decisions.adopt(session, model_id, reason=reason)
    call.answer(found, [f"{found['model_id']} is in use. Forecasts already stored keep the model that made them."])
    return DONE


@click.command("keep")
@click.option("--model", type=KIND, required=True)
@_signed
@click.pass_obj
def keep(call: Call, model: str, by: str, reason: str) -> int:
    """Keep the model in use; its candidates become past ones. Needs the duty Surgeon."""
    with opened(call, person=by) as session:
        found = decisions.keep(session, model, reason=reason)
    call.answer(found, [f"{found['model_id']} stays in use." if found["model_id"] else "No model is in use."])
    return DONE


@click.command("shift")
@click.option("--model", type=KIND, required=True)
@_signed
@click.pass_obj
def shift(call: Call, model: str, by: str, reason: str) -> int:
    """Move the average of the model in use to what was seen in the last four quarters. Needs the duty Surgeon."""
    with opened(call, person=by) as session, call.progress("Shift") as report:
        found = decisions.shift(session, model, reason=reason, report=report)
    call.answer(found, [f"{found['model_id']} is in use: the average moved by {found['moved']:+.3f} log odds."])
    return DONE


@click.command("set-back")
@click.option("--model", type=KIND, required=True)
@_signed
@click.pass_obj
def set_back(call: Call, model: str, by: str, reason: str) -> int:
    """Put the model that was in use before back in use. Needs the duty Surgeon."""
    with opened(call, person=by) as session:
        found = decisions.set_back(session, model, reason=reason)
    call.answer(found, [f"{found['model_id']} is in use again."])
    return DONE


@click.command("card")
@click.argument("model_id", metavar="ID")
@click.option("--out", type=click.Path(path_type=Path), default=None, help="Write the card's JSON here.")
@click.pass_obj
def card(call: Call, model_id: str, out: Path | None) -> int:
    """A model's card: everything needed to apply it, to judge it and to build it again by hand.

    Printed is a page for people, with --json the card's JSON itself.
    """
    with opened(call, reading=True) as session:
        text, page = decisions.card(session, model_id, out=out)
    if out is not None:
        call.answer({"model_id": model_id, "file": str(out)}, [f"The card of {model_id} is in {out}."])
    else:
        click.echo(text if call.as_json else page, nl=False)
    return DONE
