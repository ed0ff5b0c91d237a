"""What a batch plan takes and what it gives: frozen, with a range wherever something is uncertain."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from calibration.errors import UsageError
from calibration.notices import Notice
from grader.batch.process import Process
from grader.cautions import ExposureLimit
from grader.model import ProductModel, Range

Stage = Literal["strip", "rinse", "gold", "denitration", "precipitation"]


@dataclass(frozen=True)
class Feed:
    """What goes into the vessels, all loads together.

    Attributes:
        mass_g: of the pieces.
        plated_mm2: plated area, both faces where both are known.
        gold_mg: in that plating.
        bare_copper_mm2: open copper beside it; None to take the process's share of the plated area.
        heaviest_piece_g: of the pieces, where known.
        notices: about them.
    """

    mass_g: ProductModel
    plated_mm2: ProductModel
    gold_mg: ProductModel
    bare_copper_mm2: ProductModel | None = None
    heaviest_piece_g: float | None = None
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class Vessels:
    """Vessels of one size.

    Attributes:
        volume_ml: nominal.
        count: how many stand side by side.

    Raises:
        UsageError: ``vessel-invalid``.
    """

    volume_ml: float = 1000.0
    count: int = 1

    def __post_init__(self) -> None:
        if not (math.isfinite(self.volume_ml) and self.volume_ml > 0) or self.count < 1:
            raise UsageError(
                "vessel-invalid", "A vessel of this size is not possible.", "Give it as '1 l', 1 or more."
            )


@dataclass(frozen=True)
class ReagentAmount:
    """A reagent of the batch.

    Attributes:
        key: stable name.
        title: plain words.
        stage: where it is used.
        unit: of all figures.
        planned: for the whole batch.
        floor: what the balanced reaction uses up; None if no reaction sets one.
        chance_below_floor: that ``planned`` is less than ``floor``.
        per_load: in one load; None for what is used once a batch.
    """

    key: str
    title: str
    stage: Stage
    unit: str
    planned: Range
    floor: Range | None = None
    chance_below_floor: float = 0.0
    per_load: Range | None = None

    @property
    def to_have(self) -> float:
        """Enough in 95 of 100 cases."""
        return self.planned.high


@dataclass(frozen=True)
class Oxidation:
    """What turns metal into chloride.

    Attributes:
        peroxide_alone_g: copper that the planned peroxide oxidises at the very most, if none of it falls apart.
        peroxide_needed_ml: of the same peroxide to oxidise all copper and nickel without air; a floor.
        share_by_peroxide: of copper and nickel, with the share of the peroxide that is thought to be used.
        air_l: that holds the oxygen for the rest, at 25 degrees C; a floor.
    """

    peroxide_alone_g: Range
    peroxide_needed_ml: Range
    share_by_peroxide: Range
    air_l: Range


@dataclass(frozen=True)
class GasGivenOff:
    """A toxic gas.

    Attributes:
        stage: where it comes off.
        gas: formula.
        why: how it comes about.
        at_least_g: by the main reaction alone; None if it need not come at all.
        at_most_g: if all that can turns into it; of vapours what is thought to leave.
        limit: the strictest exposure limit.
        air_m3: that thins ``at_most_g`` to the limit.
    """

    stage: Stage
    gas: str
    why: str
    at_least_g: Range | None
    at_most_g: Range
    limit: ExposureLimit
    air_m3: Range


@dataclass(frozen=True)
class Waste:
    """One kind of waste; ``keep_apart`` says what it must not be mixed with, and why."""

    key: str
    title: str
    unit: str
    amount: Range
    keep_apart: str


@dataclass(frozen=True)
class RinseWater:
    """What the later rinses hold together, beside the marks for clean."""

    copper_mg_l: Range
    ph: Range
    copper_limit_mg_l: float
    ph_limit: float
    chance_not_clean: float


@dataclass(frozen=True)
class CostLine:
    """One cost; ``example`` where its price is a shipped example."""

    key: str
    title: str
    amount: Range
    example: bool


@dataclass(frozen=True)
class Time:
    """How long: days from the first load to the gold, and hours of own work."""

    days: Range
    hours: Range


@dataclass(frozen=True)
class BatchPlan:
    """What a batch needs, gives off and leaves.

    Attributes:
        process: the figures used.
        vessels: used.
        mass_g: of the pieces.
        plated_cm2: plated area.
        copper_g: that dissolves: under the plating and open beside it.
        nickel_g: likewise.
        gold_mg: in the plating.
        loads: vessel loads; whole numbers.
        liquor_per_load_ml: at the planned number of loads.
        pieces_per_load_g: likewise.
        amounts: reagents.
        oxidation: by peroxide and air.
        nitric_as_metabisulfite_g: what the nitric acid that is left over would use up, were it not destroyed first.
        gases: given off.
        waste: by kind.
        rinse_water: what the later rinses hold; None if there are none.
        time: to plan.
        currency: of the costs.
        costs: by kind, largest middle first.
        total_cost: of all.
        cost_per_gram: total for each gram of gold in the plating.
        notices: warnings.
    """

    process: Process
    vessels: Vessels
    mass_g: Range
    plated_cm2: Range
    copper_g: Range
    nickel_g: Range
    gold_mg: Range
    loads: Range
    liquor_per_load_ml: Range
    pieces_per_load_g: Range
    amounts: tuple[ReagentAmount, ...]
    oxidation: Oxidation
    nitric_as_metabisulfite_g: Range
    gases: tuple[GasGivenOff, ...]
    waste: tuple[Waste, ...]
    rinse_water: RinseWater | None
    time: Time
    currency: str
    costs: tuple[CostLine, ...]
    total_cost: Range
    cost_per_gram: Range
    notices: tuple[Notice, ...]

    def amount(self, key: str) -> ReagentAmount:
        """One reagent by its key."""
        return next(a for a in self.amounts if a.key == key)
