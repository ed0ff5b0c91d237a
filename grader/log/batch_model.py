"""The record of a batch: vessel loads, materials used, products, boards carried over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from calibration.errors import UsageError
from grader.log.entry import Document, Entry, Finite, Line, LotName, folded

AmountKind = Literal["used", "out"]
AmountUnit = Literal["ml", "g", "h", "pieces"]
TestResult = Literal["negative", "positive", "unclear"]
Struck = Literal["load", "amount", "test", "carry-over"]
_Words = Annotated[Line, StringConstraints(min_length=1)]


class NewBatch(Entry):
    """A batch: loads that are refined together. Its name is unlike any other batch's, in any case."""

    name: LotName
    started_on: date
    note: Line = ""
    who: Line = ""


class NewLoad(Entry):
    """A vessel as it is filled.

    Attributes:
        vessel: its name.
        mass_g: of the pieces in it.
        loaded_on: the day.
        note: free text.
        who: recorded it.
    """

    vessel: Line = ""
    mass_g: Annotated[float, Field(gt=0), Finite] | None = None
    loaded_on: date
    note: Line = ""
    who: Line = ""


class NewAmount(Entry):
    """Material used or produced (liquor, rinse water, stripped boards); gold is recorded as a yield."""

    kind: AmountKind
    what: _Words
    amount: Annotated[float, Field(gt=0), Finite]
    unit: AmountUnit
    note: Line = ""
    who: Line = ""


class NewTest(Entry):
    """A test, such as stannous chloride on the spent gold solution.

    Attributes:
        what: the test.
        result: its outcome.
        sample: what was tested.
        tested_on: the day.
        note: free text.
        who: recorded it.
    """

    what: _Words
    result: TestResult
    sample: Line = ""
    tested_on: date
    note: Line = ""
    who: Line = ""


class NewCarryOver(Entry):
    """Boards of one lot that came out of a batch with gold left on, to go into a later one.

    Attributes:
        copies: their number, in multiples of the lot's photographed boards.
        left_mg: fine gold still on them; None if it cannot be judged: both batches are then learned
            from as one.
        left_uncertainty_mg: its standard uncertainty.
        note: free text.
        who: recorded it.
    """

    copies: Annotated[float, Field(gt=0), Finite]
    left_mg: Annotated[float, Field(ge=0), Finite] | None = None
    left_uncertainty_mg: Annotated[float, Field(ge=0), Finite] | None = None
    note: Line = ""
    who: Line = ""

    @model_validator(mode="after")
    def _both_or_none(self) -> NewCarryOver:
        if (self.left_mg is None) != (self.left_uncertainty_mg is None):
            raise ValueError("gold left and its uncertainty go together")
        return self


class NewStrike(Entry):
    """Cancels a wrong entry of a batch; the entry stays in the log."""

    kind: Struck
    entry_id: Annotated[int, Field(gt=0)]
    reason: _Words
    who: Line = ""


@dataclass(frozen=True)
class BatchRecord:
    """A batch in the log: see ``NewBatch``; ``plan`` as made, or None."""

    id: int
    name: str
    started_on: date
    note: str
    who: str
    plan: Document | None
    logged_at: datetime


@dataclass(frozen=True)
class Load:
    """A load in the log: see ``NewLoad``."""

    id: int
    batch_id: int
    vessel: str
    mass_g: float | None
    loaded_on: date
    note: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class LoadLot:
    """A lot in a load: ``copies`` times the boards in its photos."""

    load_id: int
    lot_id: int
    copies: float


@dataclass(frozen=True)
class BatchAmount:
    """An amount in the log: see ``NewAmount``."""

    id: int
    batch_id: int
    kind: AmountKind
    what: str
    amount: float
    unit: AmountUnit
    note: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class BatchTest:
    """A test in the log: see ``NewTest``."""

    id: int
    batch_id: int
    what: str
    result: TestResult
    sample: str
    tested_on: date
    note: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class CarryOver:
    """A carry-over in the log: see ``NewCarryOver``; ``batch_id`` is the batch that the boards came out of."""

    id: int
    batch_id: int
    lot_id: int
    copies: float
    left_mg: float | None
    left_uncertainty_mg: float | None
    note: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class LoadCarried:
    """A carry-over that went into a load."""

    carry_id: int
    load_id: int


@dataclass(frozen=True)
class BatchYield:
    """A yield's first entry and the batch that it came from; corrections of the yield follow it."""

    yield_id: int
    batch_id: int


@dataclass(frozen=True)
class Strike:
    """A strike in the log: see ``NewStrike``."""

    id: int
    kind: Struck
    entry_id: int
    reason: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class BatchRecords:
    """All entries about batches, each kind in the order of logging."""

    batches: tuple[BatchRecord, ...] = ()
    loads: tuple[Load, ...] = ()
    load_lots: tuple[LoadLot, ...] = ()
    amounts: tuple[BatchAmount, ...] = ()
    tests: tuple[BatchTest, ...] = ()
    carry_overs: tuple[CarryOver, ...] = ()
    load_carried: tuple[LoadCarried, ...] = ()
    yields: tuple[BatchYield, ...] = ()
    strikes: tuple[Strike, ...] = ()

    def named(self, batch: int | str) -> BatchRecord:
        """A batch by its number or its name, in any case.

        Raises:
            UsageError: ``batch-unknown``.
        """
        same = [
            b for b in self.batches if b.id == batch or (isinstance(batch, str) and folded(b.name) == folded(batch))
        ]
        for each in (*(b for b in same if b.name == batch), *same):
            return each
        raise UsageError(
            "batch-unknown",
            f"There is no batch '{batch}' in the log.",
            "Choose one of the log's batches, or start it.",
        )

    def struck(self, kind: Struck) -> frozenset[int]:
        """Numbers of the cancelled entries of a kind."""
        return frozenset(s.entry_id for s in self.strikes if s.kind == kind)

    def current_loads(self, batch_id: int) -> tuple[Load, ...]:
        """Loads of a batch, without cancelled ones."""
        struck = self.struck("load")
        return tuple(x for x in self.loads if x.batch_id == batch_id and x.id not in struck)

    def lots_in(self, batch_id: int) -> dict[int, float]:
        """Copies of each lot that went into a batch, without boards carried over to it."""
        loads = {x.id for x in self.current_loads(batch_id)}
        found: dict[int, float] = {}
        for each in self.load_lots:
            if each.load_id in loads:
                found[each.lot_id] = found.get(each.lot_id, 0.0) + each.copies
        return found

    def current_carry_overs(self) -> tuple[CarryOver, ...]:
        """Carry-overs, without cancelled ones."""
        struck = self.struck("carry-over")
        return tuple(c for c in self.carry_overs if c.id not in struck)

    def carried_into(self, carry_id: int) -> int | None:
        """Number of the batch that carried-over boards went into, or None while they wait."""
        struck = self.struck("load")
        batch = {x.id: x.batch_id for x in self.loads if x.id not in struck}
        return next(
            (batch[c.load_id] for c in self.load_carried if c.carry_id == carry_id and c.load_id in batch), None
        )

    def carried_in(self, batch_id: int) -> tuple[CarryOver, ...]:
        """Carry-overs that went into a batch."""
        return tuple(c for c in self.current_carry_overs() if self.carried_into(c.id) == batch_id)

    def waiting(self) -> tuple[CarryOver, ...]:
        """Carry-overs that have not gone into a later batch yet."""
        return tuple(c for c in self.current_carry_overs() if self.carried_into(c.id) is None)
