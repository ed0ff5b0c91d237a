"""A lot's report as one table, a figure a line."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from calibration.reading import as_written
from grader.measured import Measured
from grader.report.lot_report import DAMAGED, LotReport
from grader.spreadsheet import csv_cell
from grader.version import __version__

COLUMNS = ("section", "item", "quantity", "value", "low", "high", "level", "unit")

LotCsvRow = tuple[str, str, str, float | str | None, float | None, float | None, float | None, str]


def lot_csv(report: LotReport) -> str:
    """CSV (RFC 4180, with a header): section, item, quantity, value, bounds and their level, unit.

    Raises:
        DataFileError: ``measurement-invalid``: a measurement or plan is not as it was written.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    with as_written(DAMAGED):
        for row in _rows(report):
            writer.writerow(map(csv_cell, row))
    return text.getvalue()


def _rows(report: LotReport) -> Iterator[LotCsvRow]:
    title = report.title
    yield "report", title, "made on", report.made_on.isoformat(), None, None, None, ""
    yield "report", title, "program", f"grader {__version__}", None, None, None, ""
    yield _range("lot", title, "gold in the visible plating", report.gold_mg.as_json(), "mg")
    for part in report.parts:
        yield "part", str(part["name"]), "boards photographed", part["boards_seen"], None, None, None, ""
        yield "part", str(part["name"]), "boards in the lot", part["boards"], None, None, None, ""
    for photo in report.photos:
        yield from _photo(photo.measured)
    if report.offer is not None:
        yield from _offer(report.offer.as_json(), title)
    for plan in report.cuts:
        yield from _cuts(plan.document)


_NONE = (None, None, None)


def _photo(seen: Measured) -> Iterator[LotCsvRow]:
    figures = [("plated area", seen.plated_area_mm2, "mm2"), ("gold", seen.gold_mg, "mg")]
    for finish, found in seen.by_finish.items():
        figures += [(f"plated area, {finish}", found.area_mm2, "mm2"), (f"gold, {finish}", found.gold_mg, "mg")]
    for quantity, value, unit in figures:
        if value is not None:
            yield _range("photo", seen.photo, quantity, value.as_json(), unit)
    for line in seen.budget:
        yield "photo", seen.photo, f"share of variance: {line.title}", line.share_of_variance, *_NONE, ""


def _offer(offer: Mapping[str, Any], title: str) -> Iterator[LotCsvRow]:
    currency = str(offer["currency"])
    yield "offer", title, "highest price worth paying", offer["highest_price"]["price"], *_NONE, currency
    yield "offer", title, "way of the highest price", str(offer["highest_price"]["title"]), *_NONE, ""
    for key, unit in (("per_kg", "kg"), ("per_lb", "lb"), ("per_board", "board")):
        each = offer["highest_price"][key]
        if each is not None:
            yield "offer", title, f"highest price a {unit}", each, *_NONE, f"{currency}/{unit}"
    yield "offer", title, "break-even price", offer["break_even"], *_NONE, currency
    for quantity in ("proceeds", "costs", "own_time"):
        yield _range("offer", title, quantity.replace("_", " "), offer[quantity], currency)
    for route in offer["routes"]:
        for quantity, unit in (("expected_profit", currency), ("chance_of_loss", ""), ("highest_price", currency)):
            yield "offer", str(route["title"]), quantity.replace("_", " "), route[quantity], *_NONE, unit


def _cuts(plan: Mapping[str, Any]) -> Iterator[LotCsvRow]:
    for number, board in enumerate(plan["boards"], 1):
        item = f"{plan['photo']}, board {number}"
        for i, cut in enumerate(board.get("cuts", ()), 1):
            yield "cut", item, f"cut {i}, from the {cut['edge']} edge", cut["at_mm"], *_NONE, "mm"
        for i, piece in enumerate(board.get("pieces", ()), 1):
            word = "keep" if piece["kept"] else "throw"
            yield _range("cut", item, f"piece {i}, {word}: board", piece["mass_g"], "g")
            yield _range("cut", item, f"piece {i}, {word}: gold", piece["gold_mg"], "mg")


def _range(section: str, item: str, quantity: str, value: Mapping[str, float], unit: str) -> LotCsvRow:
    return section, item, quantity, value["value"], value["low"], value["high"], value["level"], unit
