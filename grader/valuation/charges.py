"""Kinds of costs. Each reads its own table of a file and says what falls due.

A new kind is a class here, which joins ``KINDS``, and a table in the example file. That is all it takes to be read
from files, checked, drawn, charged for each way to deal with a lot, shown in the budget and asked about.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal, Self

from calibration.errors import UsageError
from calibration.inputs import Input
from grader.units.estimates import amount_estimate, cost_estimate, money_estimate, named, quantity_estimate
from grader.valuation.quantities import Quantity, Situation
from grader.valuation.tables import Table

Basis = Literal["lot", "purchase"]


@dataclass(frozen=True)
class Entry:
    """One text of a charge, in a file or as typed.

    Attributes:
        what: it is called in a message.
        read: the input that a text and its source make.
        nothing: text that stands for it where others of the charge are typed and it is stated nowhere.
    """

    what: str
    read: Callable[[str, str], Input]
    nothing: str


class Charge(ABC):
    """A cost other than the price.

    A kind whose ``entries`` are named like its fields inherits all but ``due``.

    Attributes:
        table: name of its table in a file.
        entries: texts of that table, each of which is typed by the same name on the command line or the page.
        is_list: whether a file may have several, under ``[[table]]``.
        takes_place_of: keys of example charges that are left out where one of its entries is typed.
        basis: whether it falls due for a lot that is stripped, or with the purchase, whatever is then done.
    """

    table: ClassVar[str]
    entries: ClassVar[Mapping[str, Entry]] = {}
    is_list: ClassVar[bool] = False
    takes_place_of: ClassVar[frozenset[str]] = frozenset()
    basis: Basis = "lot"

    @abstractmethod
    def due(self, s: Situation) -> Quantity:
        """What it comes to, in money."""

    def own_hours(self, s: Situation) -> Quantity | None:  # noqa: ARG002
        """Hours of one's own that it stands for; None for what is paid to others."""
        return None

    @property
    def key(self) -> str:
        """What tells it from the other charges; one that is typed takes the place of the one of the same key."""
        return self.table

    def inputs(self) -> tuple[Input, ...]:
        """Every input of it."""
        return tuple(i for name in self.entries if (i := getattr(self, name)) is not None)

    def money(self) -> tuple[Input, ...]:
        """The inputs that are in a currency."""
        return self.inputs()

    @classmethod
    def read(cls, table: Table) -> Self:
        """The charge that a table of a file describes.

        Raises:
            DataFileError: ``assumptions-invalid``: an entry is missing or has no meaning.
            UsageError: an entry cannot be read.
        """
        table.only({*cls.entries, "source"})
        return cls(**{name: e.read(table.text(name, cls.table), table.source) for name, e in cls.entries.items()})

    @classmethod
    def given(cls, known: Charge | None, texts: Mapping[str, str], source: str, currency: str) -> Self:
        """The charge with some entries as typed; the others stay as in the one that is known, else are nothing.

        Raises:
            UsageError: an entry cannot be read; the message names it.
        """

        def entry(name: str, e: Entry) -> Input | None:
            if name not in texts and isinstance(known, cls):
                kept: Input | None = getattr(known, name)
                return kept
            text = texts.get(name, e.nothing.format(currency=currency))
            return named(e.what, lambda typed: e.read(typed, source), text)

        return cls(**{name: entry(name, e) for name, e in cls.entries.items()})


@dataclass(frozen=True)
class Cost(Charge):
    """An amount, or an amount per unit × how many units.

    Attributes:
        input: the amount; its unit is the currency code, followed by what it is per ("USD", "USD/l").
        basis: once a lot that is stripped (reagents), or once a purchase, whatever is then done (shipping).
        quantity: litres, hours, kilograms or a share that the amount is multiplied by; None for once.
    """

    table = "cost"
    is_list = True

    input: Input
    basis: Basis = "lot"
    quantity: Input | None = None

    @property
    def key(self) -> str:
        """The name of its amount."""
        return self.input.name

    def due(self, s: Situation) -> Quantity:
        """The amount, as often as it falls due."""
        amount = s.once.times(*self.inputs())
        return amount.scaled(s.purchases) if self.basis == "purchase" else amount

    def inputs(self) -> tuple[Input, ...]:
        """What is multiplied."""
        return (self.input,) if self.quantity is None else (self.input, self.quantity)

    def money(self) -> tuple[Input, ...]:
        """The amount."""
        return (self.input,)

    @classmethod
    def read(cls, table: Table, of_sale: tuple[str, ...] = ()) -> Self:
        """The cost that a table describes; ``of_sale`` holds the key of the sale that it belongs to, if any."""
        table.only({"name", "title", "basis", "estimate", "quantity", "source"})
        key = table.text("name", "cost")
        of = f"cost {key}"
        quantity = table.text("quantity", of) if "quantity" in table else ""
        basis = table.data.get("basis", "lot")
        if basis not in ("lot", "purchase"):
            raise table.invalid(f"the basis of {of} must be 'lot' or 'purchase'")
        amount = table.text("estimate", of)
        return cls.of((*of_sale, key), table.title(key), amount, quantity, table.source, basis)

    @classmethod
    def of(
        cls, of: tuple[str, ...], title: str, amount: str, quantity: str, source: str, basis: Basis = "lot"
    ) -> Self:
        """A cost from its texts.

        Args:
            of: its key, after that of the sale which it belongs to, if any.
            title: plain words.
            amount: as typed.
            quantity: what the amount is multiplied by; empty for one that falls due once.
            source: where the figures come from.
            basis: how often it falls due.

        Raises:
            UsageError: as ``cost_estimate``.
        """
        known, unit, many, per = cost_estimate(amount, quantity)
        how_many = None if many is None else Input("quantity", f"{title}: how much", many, source, per, of)
        return cls(Input("cost", title, known, source, unit, of), basis, how_many)


def own_hours(title: str, text: str, source: str, of: tuple[str, ...] = ()) -> Input:
    """Own time from "2..4 h".

    Raises:
        UsageError: ``unit-wrong-kind`` where it is no time, or as ``quantity_estimate``.
    """
    spent, unit = quantity_estimate(text)
    if unit != "h":
        raise UsageError("unit-wrong-kind", f"'{text}' is no time of work.", "Write it as '2..4 h'.")
    return Input("hours", title, spent, source, unit, of)


def _rate(text: str, source: str) -> Input:
    worth, per = amount_estimate(text)
    if not per.endswith("/h"):
        raise UsageError("unit-wrong-kind", f"'{text}' is not per hour.", "Write it as '15 USD/h'.")
    return Input("rate", "worth of an own hour", worth, source, per)


@dataclass(frozen=True)
class Work(Charge):
    """One's own time.

    Attributes:
        hours: of work, unit "h".
        rate: what an hour is worth to oneself, unit "USD/h"; zero or None leaves it unpaid.
    """

    table = "work"
    entries: ClassVar[Mapping[str, Entry]] = {
        "hours": Entry("own time", lambda text, source: own_hours("own hours", text, source), "0 h"),
        "rate": Entry("own time", _rate, "0 {currency}/h"),
    }

    hours: Input
    rate: Input | None

    def due(self, s: Situation) -> Quantity:
        """Hours at their rate."""
        return s.nothing if self.rate is None else self.own_hours(s).times(self.rate)

    def own_hours(self, s: Situation) -> Quantity:
        """The hours."""
        return s.once.times(self.hours)

    def money(self) -> tuple[Input, ...]:
        """The rate."""
        return () if self.rate is None else (self.rate,)


def _per_gram(text: str, source: str) -> Input:
    charge, currency = money_estimate(re.sub(r"/\s*g\b", "", text))
    title = "refining charge per gram of gold"
    return Input("settlement", title, charge, source, f"{currency}/g", of=("per-gram",))


def _minimum(text: str, source: str) -> Input:
    least, currency = money_estimate(text)
    return Input("settlement", "refiner's least charge", least, source, currency, of=("minimum",))


@dataclass(frozen=True)
class Settlement(Charge):
    """What a refiner charges for one settlement: so much per gram of gold, but no less than a minimum.

    Attributes:
        per_gram: of gold delivered, unit "USD/g".
        minimum: least charge, unit "USD".
    """

    table = "settlement"
    entries: ClassVar[Mapping[str, Entry]] = {
        "per_gram": Entry("charge per gram", _per_gram, "0 {currency}"),
        "minimum": Entry("least charge", _minimum, "0 {currency}"),
    }
    takes_place_of = frozenset({"cost:refining"})

    per_gram: Input
    minimum: Input

    def due(self, s: Situation) -> Quantity:
        """The charge per gram, or the minimum where that is more."""
        return s.delivered_g.times(self.per_gram).at_least(s.once.times(self.minimum))


# In the order in which they are charged, and listed in a report.
KINDS: tuple[type[Charge], ...] = (Cost, Work, Settlement)
TYPED: Mapping[str, type[Charge]] = {name: kind for kind in KINDS for name in kind.entries}


def with_charges(charges: Iterable[Charge], *new: Charge) -> tuple[Charge, ...]:
    """Charges with others, each in the place of the one of the same key, else at the end."""
    by_key = {c.key: c for c in new}
    kept = [by_key.pop(c.key, c) for c in charges]
    return (*kept, *by_key.values())
