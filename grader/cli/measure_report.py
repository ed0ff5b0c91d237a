"""Measurements as text for a person."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.markup import escape

from calibration.errors import GraderError
from calibration.notices import Notice
from grader.cli.output import advice_of, out, show_notice, show_table
from grader.report.document import VISIBLE_ONLY
from grader.report.wide import wide_sentences
from grader.report.words import (
    METHOD_WORDS,
    budget_lines,
    correction_words,
    count_words,
    finish_rows,
    range_words,
    row_words,
)
from grader.units import format_share

Document = Mapping[str, Any]


def show_measurement(document: Document) -> None:
    """Print one measurement."""
    out.print(f"[bold]{escape(document['photo'])}[/]  {document['width_px']} × {document['height_px']} px")
    told = _show_checks(document["photo_checks"])
    if document["gold_mg"] is None:
        share = format_share(document["plated_share_of_frame"])
        out.print(f"Plated share of the frame: {share} (no scale, so no area and no gold)")
    else:
        scale = document["scale"]
        out.print(f"Scale from {METHOD_WORDS[scale['known']]}: {scale['px_per_mm']:.1f} px per mm")
        show_table(("", "plated area", "gold"), finish_rows(document))
        lines = budget_lines(document)
        if lines:
            out.print("What makes the gold's range wide:")
            for sentence in wide_sentences(document):
                out.print(f"  {sentence}", markup=False)
            show_table(("", ""), [(format_share(share), title) for title, share in lines], indent="  ")
    if (counted := count_words(document)) is not None:
        out.print(counted)
    if document["corrections"] is not None:
        out.print(correction_words(document["corrections"]))
    for row in (*(row for board in document["boards"] for row in board["contacts"]), *document["loose_contacts"]):
        out.print(f"Row of {row_words(row)}")
    told |= {reason["code"] for reason in (document.get("refused"),) if reason is not None}
    for item in document["warnings"]:
        if item["code"] not in told:
            show_notice(Notice(**item))
    out.print(f"[dim]{VISIBLE_ONLY}[/]")


def _show_checks(checks: Sequence[Mapping[str, Any]]) -> set[str]:
    """Above any number: whether the photo should be taken again, and how; returns the codes of what was told."""
    bad = [check for check in checks if check["is_good"] is False]
    if bad:
        out.print("[bold yellow]Better take this photo again[/]")
        show_table(("", "", ""), [(c["title"], c["sentence"], c["advice"]) for c in bad], indent="  ")
    return {code for check in bad for code in check["codes"]}


def summary_row(document: Document) -> tuple[str, str, str]:
    """One photo's line in the table of many."""
    if document.get("error") is not None:
        return document["photo"], "not measured", ""
    if document["gold_mg"] is None:
        return document["photo"], "no scale", ""
    return (
        document["photo"],
        range_words(document["plated_area_mm2"], "mm²"),
        range_words(document["gold_mg"], "mg"),
    )


def show_summary(rows: Sequence[tuple[str, str, str]], failed: Sequence[tuple[str, GraderError]]) -> None:
    """Print a table of many photos, and below it what failed and why."""
    show_table(("photo", "plated area", "gold"), rows)
    if failed:
        out.print()
        out.print(f"[bold red]{len(failed)} of {len(rows)} failed[/]")
        show_table(("photo", "why", "what to do"), [(name, e.message, advice_of(e)) for name, e in failed])
    out.print(f"[dim]{VISIBLE_ONLY}[/]")
