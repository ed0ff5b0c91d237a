"""``grader listing``: all pictures of one listing in, its boards once each out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape

from calibration.reading import read_bytes
from grader.cli.learned import say_learned
from grader.cli.options import with_options
from grader.cli.output import err, is_stdout, out, show_notice, show_table, write_json, write_whole
from grader.cli.photo_options import PhotoOptions
from grader.cli.photos import photo_files
from grader.cli.pictures import check_outputs
from grader.listing import (
    LISTING_FILE,
    Listing,
    ListingCorrections,
    Progress,
    parse_listing_corrections,
    read_listing,
)
from grader.listing.amount import LotAmount, amount_of
from grader.listing.notices import notice
from grader.listing.sheet import sheet_html, summary
from grader.lot import amount_texts
from grader.measured.figures import range_of
from grader.model import EMPTY
from grader.report.words import range_words


@with_options(PhotoOptions)
def listing_command(
    options: PhotoOptions,
    photos: Annotated[
        list[Path],
        typer.Argument(help="The listing's folder, or its pictures, or patterns.", show_default=False),
    ],
    said: Annotated[
        Path | None,
        typer.Option(help="What you say of the sheet: which boards are the same, and which are not (TOML or JSON)."),
    ] = None,
    sheet: Annotated[Path | None, typer.Option(help="Write the sheet of boards here, as one HTML file.")] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write it as JSON (- prints it).")] = None,
    measurement: Annotated[
        Path | None,
        typer.Option(help="Write one measurement of all boards here, for grader value: each board once."),
    ] = None,
    count: Annotated[
        str, typer.Option(help="Boards in the whole lot, where it is stated: 30, or 28..32.", show_default=False)
    ] = "",
    mass: Annotated[
        str, typer.Option(help="Mass of the whole lot, where it is stated: 2.4 kg, or 2..3 kg.", show_default=False)
    ] = "",
    part: Annotated[str, typer.Option(help="Kind of boards, as in the log. What its yields taught is used.")] = "",
    seller: Annotated[str, typer.Option(help="Who sells them, as in the log.")] = "",
) -> None:
    """Read all pictures of one listing: which show the same boards, so that each counts once, by the best look at it.

    Fronts and backs are paired. A picture without a scale gets it from boards that a picture with one shows too. The
    chance of a wrong match is in the range. The order and the names of the pictures do not matter; a file that is
    not a picture is left out with a warning. If boards overlap, the number of boards has a range; a stated count or
    mass narrows it, and then the gold is that of the whole lot.

    Example: grader listing shelf/ --sheet boards.html

    Example: grader listing shelf.jpg --mass "2.4 kg"

    Example: grader listing shelf/ --json lot.json --measurement lot-boards.json
    """
    learned = options.learned()
    request = replace(options.request(), properties=None if learned is None else learned.properties(part, seller))
    corrections = _said(said)
    for text in filter(None, (count, mass)):
        amount_texts(text)  # what cannot be read is told before anything is measured
    files = photo_files(photos)
    check_outputs(files, [p for p in (sheet, json_out, measurement) if p is not None and not is_stdout(p)])
    with _progress() as say:
        found = read_listing(files, request, corrections, say)
    amount = amount_of(found, count, mass)
    if sheet is not None:
        write_whole(sheet, sheet_html(found, _title(photos)).encode("utf-8"))
    if json_out is not None:
        write_json(json_out, {**found.to_dict(), "lot": amount.as_json()})
    if measurement is not None and found.record is not None:
        write_json(measurement, found.record.to_dict())
    if is_stdout(json_out):
        return
    _show(found)
    _show_amount(found, amount, is_stated=bool(count or mass))
    say_learned(learned, part, seller)
    for path in (sheet, json_out, measurement):
        if path is not None:
            out.print(f"Wrote {path}", markup=False)


def _said(path: Path | None) -> ListingCorrections:
    if path is None:
        return ListingCorrections()
    return parse_listing_corrections(read_bytes(path, LISTING_FILE), path.name)


@contextmanager
def _progress() -> Iterator[Progress | None]:
    """Which photo is being measured, on a terminal only."""
    if not err.is_terminal:
        yield None
        return
    with err.status("reading the photos") as status:
        yield lambda done, total, name: status.update(escape(f"photo {done + 1} of {total}: {name}"))


def _title(photos: Sequence[Path]) -> str:
    return f"Listing: {photos[0].resolve().name}"


def _show(found: Listing) -> None:
    out.print(summary(found), markup=False)
    rows = []
    for number, board in enumerate(found.boards, 1):
        area = sum(board.area_mm2.values(), EMPTY)
        looks = ", ".join(f"{found.photos[b.look.photo].name}{' (back)' * (b.face == 'back')}" for b in board.looks)
        rows.append((str(number), range_words(range_of(area), "mm²") if area.terms else "", looks))
    show_table(("board", "plated area", "seen in"), rows)
    for item in found.notices:
        show_notice(item)


def _show_amount(found: Listing, amount: LotAmount, *, is_stated: bool) -> None:
    """The whole lot, if it holds more than the boards identified."""
    if amount.boards is None:
        show_notice(
            notice("listing-mass-unlike", mass="" if amount.mass_g is None else range_words(amount.mass_g, "g"))
        )
    elif is_stated or found.heaps:
        gold = "" if amount.gold_mg is None else f"; gold {range_words(amount.gold_mg, 'mg')}"
        out.print(f"The whole lot, by {amount.by}: {amount.boards.words()}{gold}", markup=False)
