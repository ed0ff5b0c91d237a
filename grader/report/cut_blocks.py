"""A cut plan in a report, from the document that planning wrote."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from grader.model import Range
from grader.report.blocks import Block, Heading, Picture, Text
from grader.report.words import range_words
from grader.table import Table
from grader.units import format_share


def cut_blocks(document: Mapping[str, Any], picture: Picture | None) -> Iterator[Block]:
    """Picture, and for each board where to cut and what to keep."""
    yield Heading(f"Photo {document['photo']}", 2)
    if picture is not None:
        yield picture
    for number, board in enumerate(document["boards"], 1):
        error = board.get("error")
        if error is not None:
            yield Text(f"Board {number}: {error['message']} {error['advice']}")
            continue
        length, width = board["size_mm"]
        title = f"Board {number}, {length:.0f} × {width:.0f} mm"
        cuts = tuple(
            (f"Cut {i}", f"{c['at_mm']:.1f} mm ({c['at_in']:.2f} in)", f"{c['edge']} edge", _long(c))
            for i, c in enumerate(board["cuts"], 1)
        )
        if cuts:
            yield Table(("", "Distance", "From the", "Length"), cuts, title)
        else:
            yield Text(f"{title}: no cut pays.")
        yield Table(("Piece", "Size", "Board", "Gold"), tuple(map(_piece, board["pieces"])))
        yield Text(f"Gold not kept: {format_share(board['share_lost'])}.")
    if document.get("error") is not None:
        yield Text(f"{document['error']['message']} {document['error']['advice']}")
    for note in document.get("notes", ()):
        yield Text(str(note))


def _long(cut: Mapping[str, Any]) -> str:
    return f"{cut['to_mm'] - cut['from_mm']:.0f} mm"


def _piece(piece: Mapping[str, Any]) -> tuple[str, str, str, str]:
    u0, u1, v0, v1 = piece["box_mm"]
    word = "keep" if piece["kept"] else "throw"
    return (
        word,
        f"{u1 - u0:.0f} × {v1 - v0:.0f} mm",
        range_words(Range(**piece["mass_g"]), "g"),
        range_words(Range(**piece["gold_mg"]), "mg"),
    )
