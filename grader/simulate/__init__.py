"""Does it make money? Invented lots with known truth, offered to buyers who decide in different ways."""

from __future__ import annotations

from grader.simulate.buyers import BUYERS, Buyer, Trial
from grader.simulate.report import BuyerReport, SimulationReport, simulate
from grader.simulate.world import InventedLot, World, invent

__all__ = [
    "BUYERS",
    "Buyer",
    "BuyerReport",
    "InventedLot",
    "SimulationReport",
    "Trial",
    "World",
    "invent",
    "simulate",
]
