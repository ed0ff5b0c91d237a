"""The heaps that a lot can be sorted into by sight: its parts, and in each the boards rich and poor in plating.

Only what the photos show apart is parted: where each outline is one board, its gold by area is compared with that of
its part. The boards that nobody photographed are taken to be mixed as those in the photos, by mass and by gold.
"""

from __future__ import annotations

from functools import cache
from importlib import resources

from calibration.sourced import parse
from grader.lot.model import LotEstimate, Part, PartEstimate
from grader.measured import MeasuredBoard
from grader.model import ProductModel
from grader.valuation.portions import Portion


def portions_of(lot: LotEstimate) -> tuple[Portion, ...]:
    """The heaps of a lot; together they are the lot."""
    return tuple(p for part in lot.parts for p in _of_part(part))


def _of_part(estimate: PartEstimate) -> tuple[Portion, ...]:
    name = estimate.part.name
    whole = Portion(name, estimate.gold_mg, estimate.mass_g)
    outlines = _boards(estimate.part)
    area, gold = sum(o.size_mm2 for o in outlines), sum(o.gold_value_mg for o in outlines)
    if not outlines or gold <= 0:
        return (whole,)
    poor = [o for o in outlines if o.gold_value_mg / o.size_mm2 < _poor_below() * gold / area]
    if not poor or estimate.mass_g is None:
        return (whole,)
    by_area, by_gold = sum(o.size_mm2 for o in poor) / area, sum(o.gold_value_mg for o in poor) / gold

    def heap(words: str, of_gold: float, of_mass: float) -> Portion:
        mass = None if estimate.mass_g is None else _share(estimate.mass_g, of_mass)
        return Portion(f"{name} {words} plating", _share(estimate.gold_mg, of_gold), mass)

    return heap("with much", 1 - by_gold, 1 - by_area), heap("with little", by_gold, by_area)


def _boards(part: Part) -> list[MeasuredBoard]:
    """The boards in the photos, each by its outline; none where outlines and boards are not one to one."""
    sights = part.sights
    if any(len(s.front.boards) != s.boards or s.back is not None for s in sights):
        return []
    return [o for s in sights for o in s.front.boards]


def _share(model: ProductModel, share: float) -> ProductModel:
    return model.times((), share)


@cache
def _poor_below() -> float:
    text = resources.files("grader.bid").joinpath("data/heaps.toml").read_text("utf-8")
    return parse(text, "heaps")["poor_below"].value
