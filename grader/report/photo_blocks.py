"""One measured photo in a report."""

from __future__ import annotations

from collections.abc import Iterator

from grader.measured import Measured
from grader.report.blocks import Block, Picture, Text
from grader.report.wide import wide_sentences
from grader.report.words import (
    board_rows,
    correction_words,
    count_words,
    finish_rows,
    learned_sources,
    scale_words,
    unknown_lines,
)
from grader.table import Table
from grader.units import format_share

NO_PICTURE = "The photo itself was not at hand when this report was made."


def photo_blocks(measured: Measured, picture: Picture | None) -> Iterator[Block]:
    """Picture, figures, what they rest on, what to mind."""
    if picture is not None:
        yield picture
    else:
        yield Text(NO_PICTURE)
    bad = [check for check in measured.photo_checks if check.is_good is False]
    if bad:
        rows = tuple((c.title, c.sentence, c.advice) for c in bad)
        yield Table(("Check", "Found", "What to do"), rows, "Better take this photo again")
    if measured.scale is not None:
        yield Text(f"{scale_words(measured.scale)}.")
    yield Table(("Finish", "Plated area", "Gold"), tuple(finish_rows(measured)), "By finish")
    if measured.corrections is not None:
        yield Text(correction_words(measured.corrections))
    if (counted := count_words(measured)) is not None:
        yield Text(f"{counted}.")
    boards = tuple(board_rows(measured))
    if boards:
        yield Table(("Board", "Outline holds", "Rows seen"), boards, "Boards and rows of contacts")
    for source in learned_sources(measured):
        yield Text(f"Thickness: {source}. So this is the gold that your process recovers.")
    for sentence in wide_sentences(measured):
        yield Text(sentence)
    budget = tuple((title, format_share(share)) for title, share in unknown_lines(measured))
    if budget:
        yield Table(("Input", "Share"), budget, "What makes the gold's range wide")
    told = {code for check in bad for code in check.codes}
    warnings = tuple((w.message, w.advice) for w in measured.warnings if w.code not in told)
    if warnings:
        yield Table(("What to know", "What to do"), warnings)
