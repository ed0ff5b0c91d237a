"""Money of a lot as it is handed in and as it is kept: purchases, costs, sales, settlements."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Literal, Protocol, TypeVar

from pydantic import Field, StringConstraints, model_validator

from grader.log.entry import Entry, Finite, Line

MoneyKind = Literal["cost", "sale", "settlement"]
_Amount = Annotated[Decimal, Field(ge=0, allow_inf_nan=False, max_digits=20)]
_Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]


class NewPurchase(Entry):
    """What was paid for a lot, and how much of it there was said to be.

    Attributes:
        price: of the whole lot with all that was paid to the seller, exact.
        currency: three letters (ISO 4217).
        mass_g: stated or weighed mass of the boards.
        count: stated number of boards.
        bought_on: the day.
        note: free text.
        who: wrote it down.
    """

    price: _Amount
    currency: _Currency
    mass_g: Annotated[float, Field(gt=0), Finite] | None = None
    count: Annotated[int, Field(gt=0)] | None = None
    bought_on: date
    note: Line = ""
    who: Line = ""


class NewMoney(Entry):
    """A cost of a lot, the proceeds of a sale, or a refiner's settlement.

    Attributes:
        kind: of these three.
        what: it was for, or what was sold; of a settlement the refiner, which may stay empty.
        amount: exact; of a settlement what is payable before the refiner's charges.
        charges: that the refiner kept back; zero for a cost or a sale.
        currency: three letters (ISO 4217), of both.
        gold_mg: gold delivered for a settlement, as weighed; None if unknown, and for a cost or a sale.
        day: on which it was paid.
        note: free text.
        who: wrote it down.
    """

    kind: MoneyKind
    what: Line = ""
    amount: _Amount
    charges: _Amount = Decimal(0)
    currency: _Currency
    gold_mg: Annotated[float, Field(gt=0), Finite] | None = None
    day: date
    note: Line = ""
    who: Line = ""

    @model_validator(mode="after")
    def _fits_its_kind(self) -> NewMoney:
        if self.kind != "settlement" and not self.what:
            raise ValueError("it needs to say what it was for")
        if self.kind != "settlement" and (self.charges or self.gold_mg is not None):
            raise ValueError("charges and gold delivered are a settlement's")
        return self


@dataclass(frozen=True)
class Purchase:
    """A purchase in the log: see ``NewPurchase``.

    Attributes:
        corrects: number of the purchase that this one replaces; None for a first entry.
        reason: of the correction.
    """

    id: int
    lot_id: int
    logged_at: datetime
    price: Decimal
    currency: str
    mass_g: float | None
    count: int | None
    bought_on: date
    note: str = ""
    who: str = ""
    corrects: int | None = None
    reason: str = ""


@dataclass(frozen=True)
class MoneyEntry:
    """A cost, a sale or a settlement in the log: see ``NewMoney``.

    Attributes:
        corrects: number of the entry that this one replaces; None for a first entry.
        reason: of the correction.
    """

    id: int
    lot_id: int
    kind: MoneyKind
    what: str
    amount: Decimal
    charges: Decimal
    currency: str
    gold_mg: float | None
    day: date
    note: str
    who: str
    logged_at: datetime
    corrects: int | None = None
    reason: str = ""

    @property
    def balance(self) -> Decimal:
        """What it adds to the lot's profit: below zero for a cost."""
        return -self.amount if self.kind == "cost" else self.amount - self.charges


class _Corrected(Protocol):
    @property
    def id(self) -> int: ...
    @property
    def corrects(self) -> int | None: ...


_Kept = TypeVar("_Kept", bound=_Corrected)


def in_force(entries: Iterable[_Kept]) -> tuple[_Kept, ...]:
    """Entries that no newer one corrects."""
    kept = tuple(entries)
    corrected = {e.corrects for e in kept}
    return tuple(e for e in kept if e.id not in corrected)


def first_of(entry: _Kept, entries: Sequence[_Kept]) -> _Kept:
    """The entry that a chain of corrections began with."""
    by_number = {e.id: e for e in entries}
    while entry.corrects is not None and entry.corrects in by_number:
        entry = by_number[entry.corrects]
    return entry
