"""What of a measurement is worth a line."""

from __future__ import annotations

from typing import Any

from grader.report.words import finish_rows, told_finishes


def document(hard: float, immersion: float, undetermined: float) -> dict[str, Any]:
    def range_of(value: float) -> dict[str, float]:
        return {"value": value, "low": 0.9 * value, "high": 1.1 * value, "level": 0.9}

    areas = {"hard_gold": hard, "immersion_gold": immersion, "undetermined": undetermined}
    return {
        "by_finish": {f: {"area_mm2": range_of(a), "gold_mg": range_of(a / 100)} for f, a in areas.items()},
        "plated_area_mm2": range_of(sum(areas.values())),
        "gold_mg": range_of(sum(areas.values()) / 100),
    }


def test_a_finish_has_a_line_unless_it_is_a_speck() -> None:
    assert [f for f, _ in told_finishes(document(500, 40, 0.02))] == ["hard_gold", "immersion_gold"]
    assert [f for f, _ in told_finishes(document(500, 40, 2))] == ["hard_gold", "immersion_gold", "undetermined"]
    assert [f for f, _ in told_finishes(document(0, 0.02, 0))] == ["immersion_gold"]
    assert told_finishes(document(0, 0, 0)) == []


def test_the_last_row_is_all_of_it_with_the_specks() -> None:
    rows = finish_rows(document(500, 40, 0.02))
    assert len(rows) == 3
    assert rows[-1][0] == "together"
    assert rows[-1][1].startswith("540 mm²")
