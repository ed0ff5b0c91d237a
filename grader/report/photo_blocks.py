"""One measured photo in a report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from grader.report.blocks import Block, Picture, Table, Text
from grader.report.wide import wide_sentences
from grader.report.words import (
    METHOD_WORDS,
    board_rows,
    budget_lines,
    correction_words,
    count_words,
    finish_rows,
    learned_from,
)
from grader.units import format_share

NO_PICTURE = "The photo itself was not at hand when this report was made."


def photo_blocks(document: Mapping[str, Any], picture: Picture | None) -> Iterator[Block]:
    """Picture, figures, what they rest on, what to mind."""
    if picture is not None:
        yield picture
    else:
        yield Text(NO_PICTURE)
    bad = [check for check in document.get("photo_checks", ()) if check["is_good"] is False]
    if bad:
        rows = tuple((c["title"], c["sentence"], c["advice"]) for c in bad)
        yield Table(("Check", "Found", "What to do"), rows, "Better take this photo again")
    scale = document["scale"]
    method = METHOD_WORDS.get(scale.get("known", scale["method"]), str(scale["method"]))
    yield Text(f"Scale from {method}: {scale['px_per_mm']:.1f} px per mm.")
    yield Table(("Finish", "Plated area", "Gold"), tuple(finish_rows(document)), "By finish")
    if document.get("corrections") is not None:
        yield Text(correction_words(document["corrections"]))
    if (counted := count_words(document)) is not None:
        yield Text(f"{counted}.")
    boards = tuple(board_rows(document))
    if boards:
        yield Table(("Board", "Outline holds", "Rows seen"), boards, "Boards and rows of contacts")
    for source in learned_from(document):
        yield Text(f"Thickness: {source}. So this is the gold that your process recovers.")
    for sentence in wide_sentences(document):
        yield Text(sentence)
    budget = tuple((title, format_share(share)) for title, share in budget_lines(document))
    if budget:
        yield Table(("Input", "Share"), budget, "What makes the gold's range wide")
    told = {code for check in bad for code in check["codes"]}
    warnings = tuple((w["message"], w["advice"]) for w in document["warnings"] if w["code"] not in told)
    if warnings:
        yield Table(("What to know", "What to do"), warnings)
