"""From plated area by finish to grams of gold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.thickness import Finish, GoldProperties, gold_properties
from grader.model import EMPTY, ProductModel

# 1 mm² × 1 µm × 1 g/cm³ = 1e-6 cm³ × 1 g/cm³ = 1e-3 mg
MG_PER_MM2_UM_G_CM3 = 1e-3


@dataclass(frozen=True)
class GoldEstimate:
    """Gold in the plating that was seen; what sits inside packages is not in it.

    Attributes:
        by_finish: mass in mg of each finish that has an area.
        total: their sum in mg. Inputs that finishes share (scale, segmentation) stay shared in it.
    """

    by_finish: Mapping[Finish, ProductModel]
    total: ProductModel


def gold_mass(
    area_by_finish: Mapping[Finish, ProductModel], properties: Mapping[Finish, GoldProperties] | None = None
) -> GoldEstimate:
    """Mass of gold: area × thickness × density × gold fraction.

    Args:
        area_by_finish: plated area in mm² of each finish.
        properties: of at least the finishes that have an area; the priors if left out.
    """
    known = gold_properties() if properties is None else properties
    by_finish = {finish: _gold(area, known[finish]) for finish, area in area_by_finish.items()}
    return GoldEstimate(by_finish, sum(by_finish.values(), EMPTY))


def _gold(area: ProductModel, of: GoldProperties) -> ProductModel:
    """The gold; whether it is flash gold goes along, though no term needs it: the thickness has it in already."""
    gold = area.times(of.inputs(), MG_PER_MM2_UM_G_CM3)
    return gold if of.flash is None else gold.knowing(of.flash)
