"""The area and gold figures of a record, from their models."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from grader.budget import budget
from grader.gold import GoldEstimate
from grader.measured.parts import BudgetShare, MeasuredFinish, MeasuredModel
from grader.model import FINISHES, Finish, ProductModel, Range

_NOTHING = Range(0.0, 0.0, 0.0)


def figures_of(
    area_by_finish: Mapping[Finish, ProductModel], area: ProductModel, gold: GoldEstimate, scale_inputs: Iterable[str]
) -> dict[str, Any]:
    """The fields of ``Measured`` for area and gold.

    Args:
        area_by_finish: plated area of each finish that was found, mm².
        area: of all plating, mm².
        gold: in it.
        scale_inputs: names of the factors that outlines of boards share with the gold: they cancel in gold per area
            of board.
    """
    return {
        "plated_area_mm2": range_of(area),
        "by_finish": finishes_of(area_by_finish, gold),
        "gold_mg": range_of(gold.total),
        "budget": tuple(BudgetShare(**line.as_json()) for line in budget(gold.total)),
        "model": MeasuredModel(area_mm2=area_by_finish, gold_mg=gold.total, scale_inputs=tuple(scale_inputs)),
    }


def range_of(model: ProductModel) -> Range:
    """The range of a quantity; None if it has no terms."""
    return Range.of(model.draws()) if model.terms else _NOTHING


def finishes_of(areas: Mapping[Finish, ProductModel], gold: GoldEstimate) -> dict[Finish, MeasuredFinish]:
    """Area and gold of every finish."""
    return {
        f: MeasuredFinish(
            area_mm2=range_of(areas[f]) if f in areas else _NOTHING,
            gold_mg=range_of(gold.by_finish[f]) if f in gold.by_finish else _NOTHING,
        )
        for f in FINISHES
    }
