"""Does it make money? Invented lots with known truth, offered to buyers who decide in different ways."""

from __future__ import annotations

from grader.simulate.buyers import BUYERS, Buyer, Trial
from grader.simulate.by_market import MarketReport, StateReport, simulate_market
from grader.simulate.learning import LEARNERS, LearningReport, simulate_learning
from grader.simulate.market import InventedMarket, market_named, markets
from grader.simulate.report import SimulationReport, simulate
from grader.simulate.tally import BuyerReport
from grader.simulate.world import InventedLot, World, invent_lot

__all__ = [
    "BUYERS",
    "LEARNERS",
    "Buyer",
    "BuyerReport",
    "InventedLot",
    "InventedMarket",
    "LearningReport",
    "MarketReport",
    "SimulationReport",
    "StateReport",
    "Trial",
    "World",
    "invent_lot",
    "market_named",
    "markets",
    "simulate",
    "simulate_learning",
    "simulate_market",
]
