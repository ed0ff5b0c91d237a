"""Words of a measurement that the command line and the page share."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np

from calibration.finishes import FINISH_WORDS, UNDETERMINED
from calibration.sourced import load_figures
from grader.budget import TOGETHER
from grader.gold import gold_mass
from grader.measured import MadeCorrections, Measured, MeasuredFinish, MeasuredRow, MeasuredScale
from grader.model import FINISHES, Finish, ProductModel, Range
from grader.pipeline import PipelineStep
from grader.units import MassUnit, format_mass, format_range, format_share

STEP_WORDS: Mapping[PipelineStep, str] = {
    "scale": "finding the scale",
    "coverage": "looking for plating",
    "regions": "grouping contacts and pads",
    "gold": "working out the gold",
}
METHOD_WORDS: Mapping[str, str] = {
    "target": "the printed target",
    "length": "the known length",
    "rectangle": "the known rectangle",
    "coin": "the coin",
    "pitch": "the pitch of the contacts",
    "none": "nothing",
}
_SHOWN_SHARE = 0.005
_LEAST_TOLD = 1e-3  # of the plated area
_MOST_LINES = 6


def unknown_lines(measured: Measured) -> list[tuple[str, float]]:
    """What makes the gold's range wide, as title and share of variance: the few lines that matter, largest first."""
    return [
        ("several of them together" if line.input == TOGETHER else line.title, line.share_of_variance)
        for line in measured.budget
        if line.share_of_variance >= _SHOWN_SHARE
    ][:_MOST_LINES]


def range_words(value: Range | None, unit: str) -> str:
    """A range as one text; empty if there is none."""
    return "" if value is None else format_range(value, unit)


def correction_words(record: MadeCorrections) -> str:
    """What corrections by hand changed, in a sentence."""
    count = len(record.corrections)
    text = f"{count} {'correction' if count == 1 else 'corrections'} by hand"
    if record.gold_mg is None:
        return f"{text}."
    change = record.gold_mg.change
    if change.low == change.high == 0:
        return f"{text}; the gold stays as it was found."
    if change.low < 0 < change.high:
        half = (change.high - change.low) / 2
        less, more = (format_mass(abs(end), half) for end in (change.low, change.high))
        return f"{text}: between {less} less and {more} more gold than was found ({format_share(change.level)} sure)."
    if change.value >= 0:
        return f"{text}: {range_words(change, 'mg')} more gold than was found."
    fewer = Range(-change.value, -change.high, -change.low, change.level)
    return f"{text}: {range_words(fewer, 'mg')} less gold than was found."


def told_finishes(measured: Measured) -> list[tuple[Finish, MeasuredFinish]]:
    """Area and gold of each finish that is worth a line: a thousandth of the plated area and more."""
    least = _LEAST_TOLD * (0.0 if measured.plated_area_mm2 is None else measured.plated_area_mm2.value)
    each = ((f, measured.by_finish[f]) for f in FINISHES if f in measured.by_finish)
    return [(f, found) for f, found in each if found.area_mm2 is not None and found.area_mm2.value > least]


def plating_words(measured: Measured, liked: MassUnit = "auto") -> tuple[str, str]:
    """Plated area and gold of a photo with their ranges; where none was found, what may have been overlooked."""
    area, gold = measured.plated_area_mm2, measured.gold_mg
    if area is None or gold is None or area.high > 0:
        return range_words(area, "mm²"), "" if gold is None else format_range(gold, "mg", liked)
    area_mm2, gold_mg = _overlooked()
    return f"under {area_mm2:.0f} mm²", f"under {format_mass(gold_mg, gold_mg, liked)}"


@cache
def _overlooked() -> tuple[float, float]:
    """Plated area in mm² that is overlooked in one picture of twenty, and the most gold in mg that it may hold."""
    area_mm2 = load_figures("photo_figures")["overlooked_area"].value
    gold = gold_mass({UNDETERMINED: ProductModel.of(area_mm2, ())})
    return area_mm2, float(np.quantile(gold.total.draws(), 0.95))


def finish_rows(measured: Measured) -> list[tuple[str, str, str]]:
    """Plated area and gold by finish, and together: a row each."""
    rows = [
        (FINISH_WORDS[f], range_words(each.area_mm2, "mm²"), range_words(each.gold_mg, "mg"))
        for f, each in told_finishes(measured)
    ]
    return [*rows, ("together", *plating_words(measured))]


def board_rows(measured: Measured) -> list[tuple[str, str, str]]:
    """Boards by number: what their outline holds, and the rows of contacts seen on them."""
    return [
        (
            str(number),
            format_share(board.plated_share or 0.0) + " of it plated"
            if board.area_mm2 is None
            else range_words(board.area_mm2, "mm²").partition(" (")[0],
            "; ".join(map(row_words, board.contacts)) or "none found",
        )
        for number, board in enumerate(measured.boards, 1)
    ]


def count_words(measured: Measured) -> str | None:
    """How many boards a photo's outlines tell of, and how surely; None if they tell nothing."""
    count = measured.board_count
    if count is None:
        return None
    unsure = "" if count.is_sure else "; count them yourself before you value a lot by its number of boards"
    return f"Boards by their outlines: {count.words()}{unsure}"


def row_words(contacts: MeasuredRow) -> str:
    """One row of contacts, in a phrase."""
    text = f"{contacts.count} contacts"
    if contacts.width_mm is not None and contacts.length_mm is not None:
        text += f", {contacts.width_mm:.2f} × {contacts.length_mm:.2f} mm"
    if contacts.pitch_mm:
        text += f", pitch {contacts.pitch_mm:.2f} mm"
    text += ", at the board's edge" if contacts.at_edge else ""
    text += f", {contacts.missing} missing" if contacts.missing else ""
    return text + (f", outline of {contacts.outline}" if contacts.outline else "")


def scale_words(scale: MeasuredScale) -> str:
    """What gave the scale, and how large it is."""
    told = METHOD_WORDS.get(scale.given_by, scale.given_by)
    size = "" if scale.px_per_mm is None else f": {scale.px_per_mm:.1f} px per mm"
    return f"Scale from {told}{size}"


def learned_sources(measured: Measured) -> tuple[str, ...]:
    """Where a measurement's thickness was learned; empty if it is the published one."""
    inputs = () if measured.model is None else measured.model.gold_mg.inputs.values()
    return tuple(dict.fromkeys(i.source for i in inputs if i.is_recovered))
