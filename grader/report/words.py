"""Words of a measurement that the command line and the page share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.finishes import FINISH_WORDS
from calibration.inputs import Input
from grader.board_count import BoardCount
from grader.budget import TOGETHER
from grader.model import FINISHES, Finish, Range
from grader.pipeline import Step
from grader.units import format_mass, format_range, format_share

STEP_WORDS: Mapping[Step, str] = {
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


def budget_lines(document: Mapping[str, Any]) -> list[tuple[str, float]]:
    """What makes the gold's range wide, as title and share of variance: the few lines that matter, largest first."""
    return [
        ("several of them together" if line["input"] == TOGETHER else line["title"], line["share_of_variance"])
        for line in document["budget"]
        if line["share_of_variance"] >= _SHOWN_SHARE
    ][:_MOST_LINES]


def range_words(value: Mapping[str, float], unit: str) -> str:
    """A document's range as one text."""
    return format_range(Range(value["value"], value["low"], value["high"], value["level"]), unit)


def correction_words(record: Mapping[str, Any]) -> str:
    """What corrections by hand changed, in a sentence."""
    count = len(record["corrections"])
    text = f"{count} {'correction' if count == 1 else 'corrections'} by hand"
    if record["gold_mg"] is None:
        return f"{text}."
    change = record["gold_mg"]["change"]
    if change["low"] == change["high"] == 0:
        return f"{text}; the gold stays as it was found."
    if change["low"] < 0 < change["high"]:
        half = (change["high"] - change["low"]) / 2
        less, more = (format_mass(abs(change[end]), half) for end in ("low", "high"))
        return (
            f"{text}: between {less} less and {more} more gold than was found ({format_share(change['level'])} sure)."
        )
    if change["value"] >= 0:
        return f"{text}: {range_words(change, 'mg')} more gold than was found."
    fewer = {**change, "value": -change["value"], "low": -change["high"], "high": -change["low"]}
    return f"{text}: {range_words(fewer, 'mg')} less gold than was found."


def told_finishes(document: Mapping[str, Any]) -> list[tuple[Finish, Mapping[str, Any]]]:
    """Area and gold of each finish that is worth a line: a thousandth of the plated area and more."""
    least = _LEAST_TOLD * document["plated_area_mm2"]["value"]
    each = ((f, document["by_finish"][f]) for f in FINISHES)
    return [(f, found) for f, found in each if found["area_mm2"]["value"] > least]


def finish_rows(document: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Plated area and gold by finish, and together: a row each."""
    rows = [
        (FINISH_WORDS[f], range_words(each["area_mm2"], "mm²"), range_words(each["gold_mg"], "mg"))
        for f, each in told_finishes(document)
    ]
    together = range_words(document["plated_area_mm2"], "mm²"), range_words(document["gold_mg"], "mg")
    return [*rows, ("together", *together)]


def board_rows(document: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Boards by number: what their outline holds, and the rows of contacts seen on them."""
    return [
        (
            str(number),
            format_share(board["plated_share"]) + " of it plated"
            if board["area_mm2"] is None
            else range_words(board["area_mm2"], "mm²").partition(" (")[0],
            "; ".join(map(row_words, board["contacts"])) or "none found",
        )
        for number, board in enumerate(document["boards"], 1)
    ]


def count_words(document: Mapping[str, Any]) -> str | None:
    """How many boards a document's outlines tell of, and how surely; None where they tell nothing."""
    if document.get("board_count") is None:
        return None
    count = BoardCount.from_json(document["board_count"])
    unsure = "" if count.is_sure else "; count them yourself before you value a lot by its number of boards"
    return f"Boards by their outlines: {count.words()}{unsure}"


def row_words(contacts: Mapping[str, Any]) -> str:
    """One row of contacts of a document's board, in a phrase."""
    text = f"{contacts['count']} contacts"
    if contacts["width_mm"] is not None:
        text += f", {contacts['width_mm']:.2f} × {contacts['length_mm']:.2f} mm"
    if contacts["pitch_mm"]:
        text += f", pitch {contacts['pitch_mm']:.2f} mm"
    text += ", at the board's edge" if contacts["at_edge"] else ""
    text += f", {contacts['missing']} missing" if contacts.get("missing") else ""
    return text + (f", outline of {contacts['outline']}" if contacts.get("outline") else "")


def learned_from(document: Mapping[str, Any]) -> tuple[str, ...]:
    """Where a measurement's thickness was learned; empty where it is the published one."""
    inputs = (Input.from_json(i) for i in document["model"]["gold_mg"]["inputs"])
    return tuple(dict.fromkeys(i.source for i in inputs if i.is_recovered))
