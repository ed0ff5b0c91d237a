"""What of a measurement is worth a line."""

from __future__ import annotations

from grader.measured import Measured, MeasuredFinish
from grader.model import FINISHES, Range
from grader.report.words import finish_rows, told_finishes


def measured(*areas_mm2: float) -> Measured:
    """Hard gold, immersion gold, and what is undetermined."""

    def range_of(value: float) -> Range:
        return Range(value, 0.9 * value, 1.1 * value)

    whole = sum(areas_mm2)
    return Measured(
        photo="a.jpg",
        by_finish={
            f: MeasuredFinish(area_mm2=range_of(a), gold_mg=range_of(a / 100))
            for f, a in zip(FINISHES, areas_mm2, strict=True)
        },
        plated_area_mm2=range_of(whole),
        gold_mg=range_of(whole / 100),
    )


def test_a_finish_has_a_line_unless_it_is_a_speck() -> None:
    assert [f for f, _ in told_finishes(measured(500, 40, 0.02))] == ["hard_gold", "immersion_gold"]
    assert [f for f, _ in told_finishes(measured(500, 40, 2))] == ["hard_gold", "immersion_gold", "undetermined"]
    assert [f for f, _ in told_finishes(measured(0, 0.02, 0))] == ["immersion_gold"]
    assert told_finishes(measured(0, 0, 0)) == []


def test_the_last_row_is_all_of_it_with_the_specks() -> None:
    rows = finish_rows(measured(500, 40, 0.02))
    assert len(rows) == 3
    assert rows[-1][0] == "together"
    assert rows[-1][1].startswith("540 mm²")
