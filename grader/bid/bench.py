"""The bench as ``grader batch`` and ``grader grade`` plan it: chemicals, waste, vessel loads and hours for a lot.

These commands use the same functions and figures, so that the price of a lot and
the plans for it agree.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calibration.arrays import FloatArray
from calibration.inputs import Input
from grader.batch.costs import PriceDraws, cost_lines
from grader.batch.figures import constant
from grader.batch.process import Process, load_process
from grader.batch.quantities import Metals, reagents, wastes
from grader.grade.thresholds import Thresholds, load_thresholds
from grader.units import parse_volume_ml
from grader.valuation.bench import Needs
from grader.valuation.portions import Stock
from grader.valuation.quantities import ChargePer, Quantity, Values

_G_PER_KG = 1e3
_LEAST_G = 1e-3  # avoids a division by zero for an empty vessel
VESSEL = "1 l"


@dataclass(frozen=True)
class WorkBench:
    """A process, a vessel, and the time a person needs per board.

    Attributes:
        process: figures of stripping and refining, with the prices of reagents.
        times: own time per board and per cut.
        vessel_ml: nominal volume of a vessel.
        vessels: number of vessels side by side.
    """

    process: Process
    times: Thresholds
    vessel_ml: float
    vessels: int = 1

    @staticmethod
    def example() -> WorkBench:
        """The shipped examples, with the default vessel of a batch."""
        return WorkBench.of()

    @staticmethod
    def of(
        process: str | None = None,
        folder: Path | None = None,
        vessel: str = "",
        times: Thresholds | None = None,
        vessels: int = 1,
    ) -> WorkBench:
        """The bench for a process set, by its name or a file's path; vessel and times default to the examples.

        Raises:
            UsageError, DataFileError: as ``load_process`` and ``parse_volume_ml``.
        """
        volume_ml = parse_volume_ml(vessel or VESSEL)
        return WorkBench(load_process(process, folder), times or load_thresholds(), volume_ml, vessels)

    def inputs(self) -> Iterator[Input]:
        """Every uncertain input."""
        yield from self.process.figures.values()
        yield from self.times.inputs.values()

    def stripping(self, stock: Stock, values: Values) -> Needs:
        """Needs of cutting the pieces off, stripping them and refining their gold, as in ``plan_batch``."""
        at_boards = self._at_boards(stock)
        if stock.stripped_kg is None:
            return Needs()
        n = len(stock.gold_g.draws)
        f = {key: values[i.name] for key, i in self.process.figures.items()}
        mass = np.maximum(stock.stripped_kg.draws * _G_PER_KG, _LEAST_G)
        # base metal gives the least consumption of the reactions, not the planned amount
        metals = Metals(np.zeros(n), np.zeros(n), stock.gold_g.draws)
        r = reagents(f, mass, metals)
        rinses = constant(self.process.figures["rinses"].distribution, "number of rinses")
        w = wastes(f, mass, r, metals, rinses)
        loads = np.ceil(r.liquor / (self.vessel_ml * f["fill"]) - 1e-9)
        filters = f["filters_per_load"] * loads
        _, chemicals = cost_lines(PriceDraws(f, None, None, frozenset()), r, w, filters, np.zeros(n))
        vessels = stock.stripped_kg.driving(loads)
        once = Quantity.number(1.0, values, n)
        figures = self.process.figures
        hours = (
            vessels.times(figures["hours_per_load"])
            + once.times(figures["hours_denitrating"])
            + once.times(figures["hours_refining"])
        )
        amounts: dict[ChargePer, Quantity] = {"load": vessels, "l": stock.stripped_kg.driving(w.liquor_l)}
        if at_boards is not None:
            amounts["h"] = at_boards + hours
        return Needs(amounts, stock.stripped_kg.driving(chemicals))

    def days(self, stock: Stock, values: Values) -> FloatArray | None:
        """Duration of stripping and refining, as in ``plan_batch``."""
        loads = self.stripping(stock, values).amounts.get("load")
        if loads is None:
            return None
        per_load, refining = (values[self.process.figures[key].name] for key in ("days_per_load", "days_refining"))
        return np.asarray(np.ceil(loads.draws / self.vessels) * per_load + refining)

    def trimming(self, stock: Stock, values: Values) -> Needs:  # noqa: ARG002
        """Needs of cutting the pieces off, with the times of ``grade_boards``."""
        at_boards = self._at_boards(stock)
        return Needs() if at_boards is None else Needs({"h": at_boards})

    def packing(self, stock: Stock, values: Values) -> Needs:  # noqa: ARG002
        """Needs of sorting and packing boards as they are, with the same times."""
        return Needs() if stock.boards is None else Needs({"h": stock.boards.times(self.times.sale_h)})

    def _at_boards(self, stock: Stock) -> Quantity | None:
        if stock.boards is None or stock.cuts is None:
            return None
        return stock.boards.times(self.times.board_h) + stock.cuts.times(self.times.cut_h)
