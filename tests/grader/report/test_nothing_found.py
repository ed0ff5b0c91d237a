"""Where no plating was found, the figures say what may have been overlooked: a nought claims too much."""

from __future__ import annotations

import re

import grader
from grader.model import Range
from grader.report.words import finish_rows, plating_words
from grader.samples import samples_folder
from grader.units import format_range


def test_no_gold_has_its_limit():
    measured = grader.measure(samples_folder() / "no-gold.jpg").record
    area, gold = plating_words(measured)
    assert re.fullmatch(r"under \d+ mm²", area)
    assert re.fullmatch(r"under \d+(\.\d+)? mg", gold)
    assert finish_rows(measured)[-1] == ("together", area, gold)
    nothing = Range(0.0, 0.0, 0.0, 0.9)
    assert measured.gold_mg == nothing, "the record itself holds what was found"


def test_gold_that_was_found_has_its_range():
    measured = grader.measure(samples_folder() / "memory-modules.jpg").record
    assert plating_words(measured)[1] == format_range(measured.gold_mg, "mg")
