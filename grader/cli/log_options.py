"""Shared by commands that use a log. Nothing here loads the log's libraries until a log is opened."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from grader.cli.output import out
from grader.cli.questions import YesOption
from grader.units import parse_day

if TYPE_CHECKING:
    from grader.log import Log

LotArgument = Annotated[str, typer.Argument(help="The lot's name or number.", show_default=False)]
LogOption = Annotated[
    str | None,
    typer.Option(
        help="The log: a file, or postgresql://user@host/database. Default: the usual file.",
        show_default=False,
    ),
]
JsonFlag = Annotated[bool, typer.Option("--json", help="Print JSON.")]
WhoOption = Annotated[str, typer.Option(help="Recorded by.")]
DayOption = Annotated[str | None, typer.Option("--date", help="The day: 2026-11-20. Default: today.")]
NoteOption = Annotated[str, typer.Option(help="Anything worth keeping.")]


@dataclass(frozen=True)
class NotedOptions:
    """Options of an entry that may be questioned first."""

    note: NoteOption = ""
    who: WhoOption = ""
    yes: YesOption = False
    log: LogOption = None


@dataclass(frozen=True)
class DatedOptions:
    """The same of an entry that has a day."""

    day: DayOption = None
    note: NoteOption = ""
    who: WhoOption = ""
    yes: YesOption = False
    log: LogOption = None


def opened_log(path: str | None, *, must_exist: bool = False) -> Log:
    """The log at a path, or the default log."""
    from grader.log import open_log

    return open_log(path, must_exist=must_exist)


def existing_log(path: str | None) -> Log:
    """The log at a path, or the default log; it must exist."""
    return opened_log(path, must_exist=True)


def say_line(text: str) -> None:
    """Print a line as it is."""
    out.print(text, markup=False)


def number_or_name(text: str) -> int | str:
    """A lot's number or name: names always hold a letter."""
    stripped = text.strip()
    return int(stripped) if re.fullmatch(r"[0-9]{1,18}", stripped) else stripped


def day_of(text: str | None) -> date:
    """A day as typed; today if left out.

    Raises:
        UsageError: ``date-unreadable``.
    """
    return date.today() if text is None else parse_day(text)
