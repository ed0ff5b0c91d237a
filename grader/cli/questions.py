"""Ask about an entry that looks wrong before it is kept; scripts answer with ``--yes``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from calibration.errors import UsageError
from calibration.notices import Notice
from grader.cli.output import err, show_error

_SHOWN = 10  # of many, such as an import's

YesOption = Annotated[bool, typer.Option("--yes", help="Keep it even if it looks wrong; for scripts.")]


def ask_first(questions: Sequence[Notice], *, yes: bool) -> None:
    """Go on if nothing is in question, or the answer is yes.

    Raises:
        UsageError: the answer is no (``not-kept``), or nobody can be asked (the first question's code).
    """
    if not questions:
        return
    if yes:
        _show(questions, "Kept all the same")
        return
    if not _somebody_is_there():
        first, *others = questions
        _show(others)
        raise UsageError(
            first.code, f"{first.message} Nothing was logged.", f"{first.advice} If it is right, add --yes."
        )
    _show(questions)
    if not typer.confirm("Keep it all the same?", err=True):
        raise UsageError("not-kept", "Nothing was logged.", "Correct the entry and log it again.")


def _somebody_is_there() -> bool:
    return sys.stdin.isatty() and err.is_terminal


def _show(questions: Sequence[Notice], about: str = "") -> None:
    for each in questions[:_SHOWN]:
        show_error(each, about)
    if len(questions) > _SHOWN:
        err.print(f"… and {len(questions) - _SHOWN} more.")
