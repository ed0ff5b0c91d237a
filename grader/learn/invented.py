"""An invented log for the demo and for tests: lots with estimates, purchases, and yields of a known process.

Nobody weighed any of it. A seed gives it; the truth behind it is known, so that what is learned can be
held against it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from calibration.distributions import Distribution
from calibration.finishes import HARD_GOLD, IMMERSION_GOLD
from calibration.inputs import Input
from calibration.thickness import Finish, GoldProperties, gold_properties
from grader.gold import gold_mass
from grader.learn.newest import newest_in
from grader.log import NewLot, NewPurchase, NewYield, checked, open_log, photo_of
from grader.measured import SCHEMA, Measured, MeasuredScale
from grader.measured.figures import figures_of
from grader.model import ProductModel
from grader.version import __version__

# invented kinds of boards and their typical effective thickness in um
PARTS: Mapping[str, Mapping[Finish, float]] = {
    "memory strips": {HARD_GOLD: 0.42},
    "expansion cards": {HARD_GOLD: 0.60, IMMERSION_GOLD: 0.06},
    "phone boards": {IMMERSION_GOLD: 0.08},
}
SELLERS = ("Ash Lane", "Birch Yard", "Cedar Court")
_BATCH_SPREAD = 0.10
_FIRST_DAY = date(2025, 1, 6)
_HALF_WIDTH = 0.02  # relative standard uncertainty of the areas
_PX_PER_MM = 10.0


@dataclass(frozen=True)
class Invented:
    """One lot of the invented log.

    Attributes:
        lot: the lot.
        purchase: what was paid.
        areas_mm2: plated area by finish.
        gold: the yield.
    """

    lot: NewLot
    purchase: NewPurchase
    areas_mm2: Mapping[Finish, float]
    gold: NewYield

    def measured(self, properties: Mapping[Finish, GoldProperties] | None = None) -> Measured:
        """A measurement of the lot; with published properties of the plating where none are given."""
        photo = f"{self.lot.name}.jpg"
        sha256 = hashlib.sha256(photo.encode()).hexdigest()
        scale = Input("scale", "scale", Distribution("normal", (1.0, _HALF_WIDTH)), "invented", of=(sha256[:12],))
        areas = {f: ProductModel.of(area, [scale]) for f, area in self.areas_mm2.items()}
        whole = ProductModel.of(sum(self.areas_mm2.values()), [scale])
        return Measured(
            schema=SCHEMA,
            program=f"grader {__version__}",
            photo=photo,
            sha256=sha256,
            width_px=4000,
            height_px=3000,
            segmenter="invented",
            scale=MeasuredScale(
                method="length", known="length", px_per_mm=_PX_PER_MM, relative_uncertainty=_HALF_WIDTH / 2
            ),
            **figures_of(areas, whole, gold_mass(areas, properties), [scale.name]),
        )


def invented(count: int = 30, seed: int = 6) -> tuple[Invented, ...]:
    """Lots of one to some thousand boards, one yield each, a fortnight or so apart."""
    rng = np.random.default_rng(seed)
    sellers = dict(zip(SELLERS, np.exp(0.08 * rng.standard_normal(len(SELLERS))), strict=True))
    found = []
    day = _FIRST_DAY
    for number in range(1, count + 1):
        part, seller = (str(rng.choice(names)) for names in (list(PARTS), SELLERS))
        size = float(np.exp(rng.normal(10.5, 0.5)))  # mm² of hard gold
        areas: dict[Finish, float] = {f: round(size * (1 if f == HARD_GOLD else 6)) for f in PARTS[part]}
        properties = gold_properties()
        per_um = {f: a * 1e-3 * _middle(properties[f]) for f, a in areas.items()}
        mass = sum(per_um[f] * PARTS[part][f] for f in areas) * sellers[seller]
        mass *= float(np.exp(_BATCH_SPREAD * rng.standard_t(4)))
        day += timedelta(days=int(rng.integers(8, 25)))  # each is weighed before the next is bought
        found.append(
            Invented(
                checked(NewLot, name=f"Lot {number:02d}", seller=seller, part=part),
                checked(
                    NewPurchase,
                    price=round(float(mass * rng.uniform(0.03, 0.09)), 2),
                    currency="EUR",
                    mass_g=round(float(size / 20), 1),
                    bought_on=day,
                ),
                areas,
                checked(
                    NewYield,
                    mass_mg=round(mass / 0.985, 1),
                    uncertainty_mg=1.0,
                    fineness=0.985,
                    fineness_known="found",
                    weighed_on=day + timedelta(days=5),
                ),
            )
        )
    return tuple(found)


def write_invented(path: Path, count: int = 30) -> None:
    """A new log as it would have grown: each lot estimated with what the yields before it taught."""
    moment = [datetime(2025, 1, 1, 12, tzinfo=UTC)]

    def clock() -> datetime:
        moment[0] += timedelta(seconds=1)
        return moment[0]

    def go(day: date) -> None:
        moment[0] = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)

    with open_log(path, clock=clock) as log:
        for each in invented(count):
            go(each.purchase.bought_on)
            number = log.add_lot(each.lot).id
            log.add_purchase(number, each.purchase)
            learned = newest_in(log)
            taught = None if learned is None else learned.properties(each.lot.part, each.lot.seller)
            document = each.measured(taught).to_dict()
            log.add_estimate(number, photo_of(document), document)
            go(each.gold.weighed_on)
            log.add_yield(number, each.gold)


def _middle(properties: GoldProperties) -> float:
    return float(np.prod([np.median(i.draws(1000)) for i in properties.inputs()[1:]]))
