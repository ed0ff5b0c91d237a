"""Money of a lot, as new and as logged entries: purchases, costs, sales, settlements."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Literal, Protocol, TypeVar

from pydantic import Field, StringConstraints, model_validator

from grader.log.entry import Entry, Finite, Line, checked

MoneyKind = Literal["cost", "sale", "settlement"]
_Amount = Annotated[Decimal, Field(ge=0, allow_inf_nan=False, max_digits=20)]
_Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]


class NewPurchase(Entry):
    """The price of a lot, with its stated size.

    Attributes:
        price: exact total paid to the seller for the whole lot.
        currency: three letters (ISO 4217).
        mass_g: stated or weighed mass of the boards.
        count: stated number of boards.
        bought_on: the day.
        note: free text.
        who: recorded it.
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
        kind: which of the three.
        what: purpose of a cost, goods of a sale, or refiner of a settlement (may be empty).
        amount: exact; for a settlement, payable before the refiner's charges.
        charges: deducted by the refiner; zero for a cost or a sale.
        currency: three letters (ISO 4217), of both.
        gold_mg: gold delivered for a settlement, as weighed; None if unknown, and for a cost or a sale.
        day: of payment.
        note: free text.
        who: recorded it.
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

    def as_new(self) -> NewPurchase:
        """An entry like this one, to correct it."""
        return checked(NewPurchase, **{name: getattr(self, name) for name in NewPurchase.model_fields})


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

    def as_new(self) -> NewMoney:
        """An entry like this one, to correct it."""
        return checked(NewMoney, **{name: getattr(self, name) for name in NewMoney.model_fields})

    @property
    def balance(self) -> Decimal:
        """Its contribution to the lot's profit; negative for a cost."""
        return -self.amount if self.kind == "cost" else self.amount - self.charges


class _Corrected(Protocol):
    @property
    def id(self) -> int: ...
    @property
    def corrects(self) -> int | None: ...


_Kept = TypeVar("_Kept", bound=_Corrected)


def in_force(entries: Iterable[_Kept]) -> tuple[_Kept, ...]:
    """Entries without superseded ones."""
    kept = tuple(entries)
    corrected = {e.corrects for e in kept}
    return tuple(e for e in kept if e.id not in corrected)


def first_of(entry: _Kept, entries: Sequence[_Kept]) -> _Kept:
    """The first entry of a chain of corrections."""
    by_number = {e.id: e for e in entries}
    while entry.corrects is not None and entry.corrects in by_number:
        entry = by_number[entry.corrects]
    return entry
