"""Grades as texts and as data, the same on paper, terminal and page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from calibration.errors import RefusedError
from grader.cautions import documents_for
from grader.cut.words import FACE_NOTE, PARTS_NOTE
from grader.grade.model import CLASSES, Candidate, Class, Figures, Graded, Grades, Measure
from grader.grade.thresholds import Thresholds
from grader.model import Range
from grader.units import MassUnit, format_share, in_mass_unit, round_to

CLASS_WORDS: Mapping[Class, str] = {"process": "process", "sell_whole": "sell whole", "leave": "leave"}
CLASS_RGB: Mapping[Class, tuple[int, int, int]] = {
    # from the Okabe–Ito set (2008, "Color Universal Design"), dark enough for white text
    "process": (0, 114, 178),
    "sell_whole": (168, 74, 0),
    "leave": (89, 89, 89),
}
MEASURE_WORDS: Mapping[Measure, str] = {"gram": "gram processed", "minute": "minute of work"}
BOARD_COLUMNS = ("Board", "Grade", "Value per gram", "Value per minute", "Gold", "To process", "Cuts")
PART_COLUMNS = ("Part", "Boards", "Value per gram", "Value per minute")
VALUE_NOTE = (
    "Value is what the gold brings after recovery and your buyer's share; costs of the lot (shipping, refining, "
    "disposal) are not taken off: put what a gram costs you into the thresholds."
)
CELL_NOTE = (
    "Each board: the gold's value per gram processed and per minute of work, the gold, what is processed for it. "
    "Ranges hold the truth in 90 of 100 cases."
)
ALIKE_NOTE = "Boards of one part are taken to be plated alike; parts differ in thickness, each in its own way."
WHOLE_NOTE = "Boards known from measurements alone count whole: with their photos, cuts would leave less to process."
WEIGHED_NOTE = "Whole boards count as weighed, shared out by their size; pieces that are cut off count as bare board."
EXAMPLE_NOTE = "The thresholds and times of work are shipped examples, not yours."
_CLOSE = 0.1


def graded_range_words(value: Range, unit: str) -> str:
    """A value, its bounds and its unit in few words: "0.12 (0.02 to 0.30) USD/g"."""
    half = (value.high - value.low) / 2
    middle, low, high = (round_to(x, half) for x in (value.value, value.low, value.high))
    return f"{middle} {unit}" if half == 0 else f"{middle} ({low} to {high}) {unit}"


def graded_rows(grades: Grades) -> list[tuple[str, ...]]:
    """A row for each board under ``BOARD_COLUMNS``."""
    rows: list[tuple[str, ...]] = []
    for graded in grades.boards:
        f, c = graded.figures, graded.candidate
        figures = ("", "", "", "") if f is None else (*value_words(f, grades.currency), *mass_words(f))
        cuts = "" if c.cuts is None else str(c.cuts)
        rows.append((c.name, grade_words(graded), *figures, cuts))
    return rows


def grade_words(graded: Graded) -> str:
    """The grade, and how sure it is where a threshold is close."""
    return f"{CLASS_WORDS[graded.grade]}{f' ({why})' if (why := grade_remark(graded)) else ''}"


def grade_remark(graded: Graded) -> str:
    """What should be said of a grade that is not plain."""
    if graded.sells_better:
        return "sold whole it brings more than its gold less what processing costs"
    if graded.figures is not None and _CLOSE < graded.chance < 1 - _CLOSE:
        return f"worth processing: {format_share(graded.chance)} likely"
    return ""


def value_words(f: Figures, currency: str) -> tuple[str, str]:
    """Value per gram and per minute."""
    return graded_range_words(f.per_gram, f"{currency}/g"), graded_range_words(f.per_minute, f"{currency}/min")


def mass_words(f: Figures, liked: MassUnit = "mg") -> tuple[str, str]:
    """Gold, and what is processed for it."""
    return graded_range_words(*in_mass_unit(f.gold_mg, liked)), graded_range_words(f.mass_g, "g")


def cut_part_rows(grades: Grades) -> list[tuple[str, ...]]:
    """A row for each part under ``PART_COLUMNS``; none if there is one part."""
    if len(grades.parts) < 2:
        return []
    return [
        (
            part.name,
            ", ".join(f"{n} {CLASS_WORDS[c]}" for c, n in part.boards.items() if n),
            *(("", "") if part.figures is None else value_words(part.figures, grades.currency)),
        )
        for part in grades.parts
    ]


def order_lines(grades: Grades) -> list[str]:
    """Which neighbours the ranges cannot distinguish."""
    ranked = (
        [(g.candidate.name, g.before_next) for g in grades.boards],
        [(f"Part {p.name}", p.before_next) for p in grades.parts],
    )
    neighbours = [(*one, other[0]) for ranks in ranked for one, other in pairwise(ranks)]
    told = [(name, chance, other) for name, chance, other in neighbours if chance is not None]
    lines = [
        f"{name} and {other} cannot be told apart: this order is right with a chance of {format_share(chance)}."
        for name, chance, other in told
        if chance < grades.certainty
    ]
    if len(told) > len(lines):
        rest = "The other neighbours" if lines else "Neighbours"
        per = MEASURE_WORDS[grades.by]
        sure = format_share(grades.certainty)
        lines.append(f"{rest} of one grade are in order of value per {per}, at least {sure} sure.")
    return lines


def cell_lines(graded: Graded, currency: str, liked: MassUnit = "mg") -> list[str]:
    """A board on the sheet: name, then its figures, or why it has none."""
    c, f = graded.candidate, graded.figures
    lines = [c.name]
    if f is None:
        lines.append(c.why_not.message if c.why_not is not None else "")
    else:
        lines += value_words(f, currency)
        gold, mass = mass_words(f, liked)
        lines.append(f"gold {gold}")
        lines.append(f"in {mass}{_cuts(c)}")
        if why := grade_remark(graded):
            lines.append(why)
    if graded.sale is not None and graded.grade == "sell_whole":
        lines.append(f"sold whole {graded_range_words(graded.sale, currency)}")
    return lines


def _cuts(candidate: Candidate) -> str:
    if candidate.cuts is None:
        return ", whole"
    return f", {candidate.cuts} {'cut' if candidate.cuts == 1 else 'cuts'}"


def grade_notes(grades: Grades, thresholds: Thresholds) -> list[str]:
    """What must be said with any grades."""
    candidates = [g.candidate for g in grades.boards]
    able = [c for c in candidates if c.why_not is None]
    return [
        VALUE_NOTE,
        *([PARTS_NOTE] if not all(c.weighed for c in candidates) else [WEIGHED_NOTE]),
        *([ALIKE_NOTE] if len(candidates) > 1 else []),
        *([WHOLE_NOTE] if any(c.cuts is None for c in able) else []),
        *([FACE_NOTE] if any(c.faces == 1 for c in candidates) else []),
        *([EXAMPLE_NOTE] if thresholds.are_examples else []),
    ]


def grades_document(
    grades: Grades, thresholds: Thresholds, not_graded: Sequence[tuple[str, RefusedError]] = ()
) -> dict[str, Any]:
    """All of it as a JSON object."""
    return {
        "schema": 1,
        "currency": grades.currency,
        "ranked_by": grades.by,
        "certainty": grades.certainty,
        "boards": [_board(number, graded) for number, graded in enumerate(grades.boards, 1)],
        "parts": [
            {
                "rank": number,
                "name": part.name,
                "boards": {c: part.boards[c] for c in CLASSES},
                "figures": _figures(part.figures),
                "chance_before_next": part.before_next,
            }
            for number, part in enumerate(grades.parts, 1)
        ],
        "not_graded": [{"name": name, "error": _error(error)} for name, error in not_graded],
        "statements": order_lines(grades),
        "notes": grade_notes(grades, thresholds),
        "cautions": documents_for("cut"),
    }


def _board(number: int, graded: Graded) -> dict[str, Any]:
    c = graded.candidate
    return {
        "rank": number,
        "name": c.name,
        "part": c.part,
        "grade": graded.grade,
        "chance_worth_processing": graded.chance,
        "chance_worth_selling": graded.sale_chance,
        "sells_better": graded.sells_better,
        "cuts": c.cuts,
        "faces": c.faces,
        "figures": _figures(graded.figures),
        "sale": None if graded.sale is None else graded.sale.as_json(),
        "chance_before_next": graded.before_next,
        "why_not": None if c.why_not is None else _error(c.why_not),
    }


def _figures(f: Figures | None) -> dict[str, Any] | None:
    if f is None:
        return None
    return {
        "gold_mg": f.gold_mg.as_json(),
        "mass_g": f.mass_g.as_json(),
        "value": f.value.as_json(),
        "value_per_gram": f.per_gram.as_json(),
        "value_per_minute": f.per_minute.as_json(),
    }


def _error(error: RefusedError) -> dict[str, str]:
    return {"code": error.code, "message": error.message, "advice": error.advice}
