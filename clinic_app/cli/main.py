"""`clinic-app`: the global options, the exit status, and what a refusal looks like."""

from __future__ import annotations

import importlib
import json
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path

import click

from clinic_app import __version__
from clinic_app.cli.call import Call, usual_practice
from clinic_app.cli.status import CANCELLED, DONE, FAULT, REFUSED, WRONG_USE
from clinic_app.cli.window import show_window
from clinic_app.errors import Refusal
from models.errors import ModelError
from models.progress import Cancelled

COMMANDS: dict[str, str] = {
    "import": "records:import_",
    "cases": "records:cases",
    "export": "records:export_",
    "fields": "records:fields",
    "train": "risk_models:train",
    "models": "risk_models:models",
    "compare": "risk_models:compare",
    "adopt": "risk_models:adopt",
    "keep": "risk_models:keep",
    "shift": "risk_models:shift",
    "set-back": "risk_models:set_back",
    "card": "risk_models:card",
    "forecast": "forecasts:forecast",
    "review": "forecasts:review",
    "judge": "forecasts:judge",
    "verify": "care:verify",
    "backup": "care:backup",
    "restore": "care:restore",
    "demo": "demo:demo",
    "selftest": "selftest:selftest",
}
"""Command -> module and name. A command's module is imported when the command is used, so that the window and the
small commands start without waiting for the arithmetic libraries of the large ones."""


class Commands(click.Group):
    """A group whose commands are found by name in `COMMANDS`."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands, in the order of the day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, imported now."""
        place = COMMANDS.get(cmd_name)
        if place is None:
            return None
        module, _, name = place.partition(":")
        command = getattr(importlib.import_module(f"clinic_app.cli.{module}"), name)
        if not isinstance(command, click.Command):
            raise TypeError(place)
        return command


@click.group(cls=Commands, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--practice",
    type=click.Path(path_type=Path, file_okay=True),
    default=None,
    help="Practice folder; without it the folder in the user's data.",
)
@click.option("--as", "person", metavar="NAME", default=None, help="The person acting, written to the history.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on the output and nothing else.")
@click.version_option(__version__, prog_name="clinic-app")
@click.pass_context
def clinic_app(context: click.Context, practice: Path | None, person: str | None, as_json: bool) -> int | None:
    """Forecast and learn from cloudy corneas on day one after cataract surgery, from the practice's own records.

    Without a command the window opens on the practice. The program supports, and never replaces, the judgement of
    the licensed clinician; local protocol comes first.
    """
    call: Call = context.obj
    call.practice = (practice or usual_practice()).absolute()
    call.person = person or call.person
    call.as_json = as_json
    if context.invoked_subcommand is None:
        return show_window(call.practice, call.person)
    return None


def _refuse(what: str, why: str, next_: str, *, as_json: bool) -> int:
    if as_json:
        click.echo(json.dumps({"error": {"what": what, "why": why, "next": next_}}, ensure_ascii=False, indent=2))
    else:
        for sentence in (what, why, next_):
            click.echo(sentence, err=True)
    return REFUSED


def _places(fault: BaseException) -> str:
    """Where it happened, without any value: file names of the program and line numbers."""
    frames = traceback.extract_tb(fault.__traceback__)
    return " < ".join(f"{Path(frame.filename).name}:{frame.lineno}" for frame in reversed(frames[-4:]))


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit status is that of the interface (0, 1, 2, 3, 4 or 70). Nothing raises out of it."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    call = Call()
    as_json = "--json" in words
    try:
        status = clinic_app.main(args=words, prog_name="clinic-app", obj=call, standalone_mode=False)
    except click.exceptions.Exit as ended:
        return ended.exit_code
    except click.ClickException as fault:
        fault.show(file=sys.stderr)
        return WRONG_USE
    except (Cancelled, KeyboardInterrupt, click.Abort):
        if as_json:
            stopped = {"what": "Stopped.", "why": "You asked to stop.", "next": "Nothing was changed."}
            click.echo(json.dumps({"error": stopped}))
        else:
            click.echo("Stopped. Nothing was changed.", err=True)
        return CANCELLED
    except (Refusal, ModelError) as refusal:
        return _refuse(refusal.what, refusal.why, refusal.next, as_json=as_json)
    except Exception as fault:
        _refuse(
            "The program made a mistake.",
            f"{type(fault).__name__} at {_places(fault)}.",
            "See with `models`, `cases` or `verify` how far it came: each act is saved whole or not at all. "
            "If it happens again, report the line above.",
            as_json=as_json,
        )
        return FAULT
    return status if isinstance(status, int) else DONE
