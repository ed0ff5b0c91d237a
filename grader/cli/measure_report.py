"""Measurements as text for a person."""

from __future__ import annotations

from collections.abc import Sequence

from rich.markup import escape

from calibration.errors import GraderError
from grader.cli.output import advice_of, out, show_notice, show_table
from grader.measured import VISIBLE_ONLY, Measured, PhotoCheck
from grader.report.wide import wide_sentences
from grader.report.words import (
    correction_words,
    count_words,
    finish_rows,
    plating_words,
    row_words,
    scale_words,
    unknown_lines,
)
from grader.units import format_share


def show_measurement(measured: Measured) -> None:
    """Print one measurement."""
    out.print(f"[bold]{escape(measured.photo)}[/]  {measured.width_px} × {measured.height_px} px")
    told = _show_checks(measured.photo_checks)
    if measured.gold_mg is None or measured.scale is None:
        share = format_share(measured.plated_share_of_frame or 0.0)
        out.print(f"Plated share of the frame: {share} (no scale, so no area and no gold)")
    else:
        out.print(scale_words(measured.scale))
        show_table(("", "plated area", "gold"), finish_rows(measured))
        lines = unknown_lines(measured)
        if lines:
            out.print("What makes the gold's range wide:")
            for sentence in wide_sentences(measured):
                out.print(f"  {sentence}", markup=False)
            show_table(("", ""), [(format_share(share), title) for title, share in lines], indent="  ")
    if (counted := count_words(measured)) is not None:
        out.print(counted)
    if measured.corrections is not None:
        out.print(correction_words(measured.corrections))
    for row in (*(row for board in measured.boards for row in board.contacts), *measured.loose_contacts):
        out.print(f"Row of {row_words(row)}")
    told |= set() if measured.refused is None else {measured.refused.code}
    for item in measured.warnings:
        if item.code not in told:
            show_notice(item)
    out.print(f"[dim]{VISIBLE_ONLY}[/]")


def _show_checks(checks: Sequence[PhotoCheck]) -> set[str]:
    """Print, above any figure, whether and how to retake the photo; return the codes of the warnings shown."""
    bad = [check for check in checks if check.is_good is False]
    if bad:
        out.print("[bold yellow]Better take this photo again[/]")
        show_table(("", "", ""), [(c.title, c.sentence, c.advice) for c in bad], indent="  ")
    return {code for check in bad for code in check.codes}


def summary_row(measured: Measured) -> tuple[str, str, str]:
    """One photo's line in the table of many."""
    if measured.error is not None:
        return measured.photo, "not measured", ""
    if measured.gold_mg is None:
        return measured.photo, "no scale", ""
    return measured.photo, *plating_words(measured)


def show_summary(rows: Sequence[tuple[str, str, str]], failed: Sequence[tuple[str, GraderError]]) -> None:
    """Print a table of many photos, and below it what failed and why."""
    show_table(("photo", "plated area", "gold"), rows)
    if failed:
        out.print()
        out.print(f"[bold red]{len(failed)} of {len(rows)} failed[/]")
        show_table(("photo", "why", "what to do"), [(name, e.message, advice_of(e)) for name, e in failed])
    out.print(f"[dim]{VISIBLE_ONLY}[/]")
