"""Where no plating was found, the figures say what may have been overlooked: a nought claims too much."""

from __future__ import annotations

import re
from dataclasses import replace

import grader
from grader.model import Range
from grader.report.words import finish_rows, plating_words
from grader.samples import samples_folder


def test_no_gold_has_its_limit():
    measured = grader.measure(samples_folder() / "no-gold.jpg").record
    area, gold = plating_words(measured)
    assert re.fullmatch(r"under \d+ mm²", area)
    assert re.fullmatch(r"under \d+(\.\d+)? mg", gold)
    assert finish_rows(measured)[-1] == ("together", area, gold)
    nothing = Range(0.0, 0.0, 0.0, 0.9)
    assert (measured.plated_area_mm2, measured.gold_mg) == (nothing, nothing), (
        "the record itself holds what was found"
    )
    some = replace(measured, plated_area_mm2=Range(5.0, 4.0, 6.0, 0.9), gold_mg=Range(0.2, 0.1, 0.3, 0.9))
    assert plating_words(some)[1].startswith("0.2")
