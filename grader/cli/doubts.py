"""Doubtful figures are asked back on a terminal, and refused in a script unless it says ``--yes``."""

from __future__ import annotations

import sys
from collections.abc import Iterable

import typer
from rich.markup import escape

from calibration.errors import UsageError
from grader.cli.output import err
from grader.value.doubts import Doubt


def settle(doubts: Iterable[Doubt], *, believed: bool) -> None:
    """Go on only with figures that are meant.

    Args:
        doubts: what is doubted.
        believed: that a person has said so beforehand (``--yes``).

    Raises:
        UsageError: a figure is doubted and nobody says that it is right; code, message and advice are the doubt's.
    """
    if believed:
        return
    for doubt in doubts:
        if not (sys.stdin.isatty() and sys.stderr.isatty()):
            raise UsageError(doubt.code, doubt.message, f"{doubt.advice} If it is right as it stands, add --yes.")
        err.print(f"[yellow]{escape(doubt.message)}[/] {escape(doubt.advice)}")
        if not typer.confirm("Go on with it as it stands?", err=True):
            raise UsageError(doubt.code, doubt.message, doubt.advice)
