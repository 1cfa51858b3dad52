"""Kinds of option that several commands share."""

from __future__ import annotations

from datetime import date, datetime

import click

DAY = click.DateTime(formats=["%Y-%m-%d"])
"""A calendar day, ISO 8601."""

KIND = click.Choice(["booking", "end_of_case"])
"""Kind of model."""

ENCODING = click.option(
    "--encoding", metavar="NAME", default=None, help="How text files are written, if not UTF-8: such as windows-1252."
)
"""For commands that read files of others."""


def day(moment: datetime | None) -> date | None:
    """The calendar day of an option."""
    return None if moment is None else moment.date()
