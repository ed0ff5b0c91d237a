"""Ask about figures that look wrong before they are used or kept; scripts answer with ``--yes``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from calibration.errors import UsageError
from calibration.notices import Notice
from grader.cli.output import advice_of, err, show_error

_SHOWN = 10  # of many, such as an import's

YesOption = Annotated[bool, typer.Option("--yes", help="Keep it even if it looks wrong (for scripts).")]


def ask_first(questions: Sequence[Notice], *, yes: bool, undone: str = "Nothing was logged.") -> None:
    """Go on if nothing is in question, or the answer is yes.

    Args:
        questions: what looks wrong.
        yes: that a person has said in advance that it is right (``--yes``).
        undone: what did not happen if the answer is no.

    Raises:
        UsageError: the answer is no (``not-confirmed``), or nobody can be asked (the first question's code).
    """
    if not questions:
        return
    if yes:
        _show(questions, "Taken as it stands")
        return
    if not _somebody_is_there():
        first, *others = questions
        _show(others)
        raise UsageError(
            first.code,
            f"{first.message} {undone}".rstrip(),
            f"{advice_of(first)} If it is correct, add --yes.",
            remedy="question-unanswered",
            values={"advice": advice_of(first)},
        )
    _show(questions)
    if not typer.confirm("Is it right as it stands?", err=True):
        raise UsageError("not-confirmed", undone or "Nothing was calculated.", "Correct the figure and try again.")


def _somebody_is_there() -> bool:
    return sys.stdin.isatty() and err.is_terminal


def _show(questions: Sequence[Notice], about: str = "") -> None:
    for each in questions[:_SHOWN]:
        show_error(each, about)
    if len(questions) > _SHOWN:
        err.print(f"… and {len(questions) - _SHOWN} more.")
