"""Invented markets: what they offer is what they say, and the report counts it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibration.belief import published_priors
from calibration.errors import UsageError
from grader.simulate import World, market_named, markets, simulate_market
from grader.simulate.by_market import STATES
from grader.simulate.market import USUAL
from grader.simulate.trade import Trade
from grader.simulate.world import _board_areas, _seen
from grader.valuation import load_assumptions, with_given

PRIORS = published_priors()


@pytest.mark.parametrize("name", list(markets()))
def test_a_market_can_be_drawn(name: str) -> None:
    market = market_named(name)
    trade = Trade.draw(PRIORS, np.random.default_rng(1), market)
    assert set(trade.kinds.values()) <= set(market.kinds)
    assert bool(trade.picking) <= bool(market.picking)


def test_parts_are_flash_as_often_as_the_market_says() -> None:
    rng = np.random.default_rng(2)
    for name, share in (("flash", 0.40), ("memory", 0.05)):
        market = market_named(name)
        logs = [
            float(shared.draw(rng.random(1))[0])
            for _ in range(800)
            for shared in market.plating(PRIORS, rng).values()
        ]
        # below 0.2 um flash gold and hard gold part: a tenth of the thin hard gold lies below, 1.5 % of all hard gold
        assert np.mean(np.exp(logs) < 0.2) == pytest.approx(share, abs=3 * 0.5 / np.sqrt(800) + 0.04)


def test_bare_boards_and_spread_are_as_stated() -> None:
    areas = _board_areas(market_named("bare"), 4000, np.random.default_rng(3))
    assert np.mean(areas == 0) == pytest.approx(0.20, abs=0.025)
    assert np.std(np.log(areas[areas > 0])) == pytest.approx(0.3, abs=0.02)


def test_who_picks_shows_the_richest_third() -> None:
    """The mean of the best third of normal numbers lies 1.09 standard deviations up (φ(0.431) / (1/3) = 1.091)."""
    rng = np.random.default_rng(4)
    assumptions = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date(2026, 11, 25))
    world = World(assumptions, market=market_named("picking"))
    properties = world.properties("unknown")
    above = []
    for n in range(200):
        areas = np.exp(0.3 * rng.standard_normal(400))
        lot, _ = _seen(str(n), areas, np.full(400, 20.0), properties, rng, world, picks=True)
        (part,) = lot.parts
        assert part.picked == "seller"
        mm2 = sum(float(np.median(s.front.areas["hard_gold"].draws(500))) for s in part.sights)
        above.append(np.log(mm2 / part.boards_seen))
    assert np.mean(above) == pytest.approx(0.3 * 1.091, abs=0.05)


def test_an_unknown_market_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        market_named("moon")
    assert caught.value.code == "market-unknown"


def test_a_report_is_of_equal_lots_and_the_same_for_its_seed() -> None:
    assumptions = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date(2026, 11, 25))
    market = replace(market_named("mixed"), name="x")
    first, again = (simulate_market(assumptions, market, 2, 1, 5) for _ in range(2))
    assert first.as_json() == again.as_json()
    assert tuple(s.name for s in first.states) == STATES
    oracles = {s.buyers[-1].profit for s in first.states}
    assert len(oracles) == 1
    assert all(b.profit <= s.buyers[-1].profit for s in first.states for b in s.buyers)
    assert first.as_json()["market"] == "x"
    assert USUAL.picked == "blindly"
    with pytest.raises(UsageError) as caught:
        simulate_market(assumptions, market, 1, 1, 5)
    assert caught.value.code == "lots-too-few"
