"""The invented log keeps what it says of itself, so that what is learned from it can be held against the truth."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from math import exp, log

import numpy as np
import pytest

from calibration.thickness import gold_properties
from grader.learn.invented import PARTS, invented
from grader.measured import measurements_of
from grader.model import Range

HARD, SOFT = "hard_gold", "immersion_gold"


def test_the_invented_log_is_what_it_says() -> None:
    """Yields of a known process: typical thickness by part, a spread of a tenth by batch and one of 8 % by seller."""
    many = invented(1000, seed=7)
    assert [i.lot.name for i in many[:2]] == ["Lot 01", "Lot 02"]
    assert {i.lot.part for i in many} == set(PARTS)
    logs, prices, sizes = [], [], []
    for each in many:
        assert set(each.areas_mm2) == set(PARTS[each.lot.part])
        if len(each.areas_mm2) == 2:  # pads have six times the area of contacts
            assert each.areas_mm2[SOFT] == pytest.approx(6 * each.areas_mm2[HARD], rel=1e-3)
        um = {
            f: float(np.prod([np.median(i.draws(1000)) for i in gold_properties()[f].inputs()[1:]]))
            for f in each.areas_mm2
        }
        typical = sum(a * 1e-3 * um[f] * PARTS[each.lot.part][f] for f, a in each.areas_mm2.items())
        logs.append((each.lot.seller, log(each.gold.mass_mg * 0.985 / typical)))
        prices.append(float(each.purchase.price) / (each.gold.mass_mg * 0.985))
        sizes.append(each.areas_mm2.get(HARD, each.areas_mm2.get(SOFT, 0.0) / 6))
        assert each.gold.weighed_on - each.purchase.bought_on == timedelta(days=5)
    by_seller = {s: np.array([x for name, x in logs if name == s]) for s in {name for name, _ in logs}}
    assert len(by_seller) == 3
    # Student's t of four degrees about each seller's middle: quartiles at 0.741 of its scale
    spread = np.concatenate([x - np.median(x) for x in by_seller.values()])
    assert np.median(np.abs(spread)) == pytest.approx(0.10 * 0.741, rel=0.1)
    assert 0 < np.ptp([np.median(x) for x in by_seller.values()]) < 6 * 0.08
    assert 0.0299 < min(prices) < 0.035 < 0.085 < max(prices) < 0.0901
    assert np.median(sizes) == pytest.approx(exp(10.5), rel=0.1)
    assert np.std(np.log(sizes)) == pytest.approx(0.5, rel=0.1)
    days = [b.purchase.bought_on - a.purchase.bought_on for a, b in pairwise(many)]
    assert (min(days), max(days)) == (timedelta(days=8), timedelta(days=24))
    # each is weighed before the next is bought
    assert all(a.gold.weighed_on < b.purchase.bought_on for a, b in pairwise(many))


def test_an_invented_measurement_is_the_lots_area_and_gold() -> None:
    lot = next(i for i in invented() if len(i.areas_mm2) == 2)
    measured = lot.measured()
    assert measured.plated_area_mm2 is not None
    whole = sum(lot.areas_mm2.values())
    assert measured.plated_area_mm2.value == pytest.approx(whole, rel=1e-3)
    assert measured.plated_area_mm2.high / whole - 1 == pytest.approx(1.645 * 0.02, rel=0.05)
    assert measured.gold_mg == Range.of(measured.gold.draws())
    assert measured.sha256 != invented()[1].measured().sha256


def test_an_invented_measurement_can_be_valued() -> None:
    lot = next(i for i in invented() if len(i.areas_mm2) == 2)
    (measured,) = measurements_of([("invented", lot.measured().to_dict())])
    assert measured == lot.measured()
    assert set(measured.areas) == set(lot.areas_mm2)
    # the error of the scale is the photo's, shared by all areas in it
    (scale,) = measured.scale_inputs
    assert all(scale in area.inputs for area in measured.areas.values())
