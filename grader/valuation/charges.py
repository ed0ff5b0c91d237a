"""Kinds of costs. Each reads its own table of a file and calculates what is due.

A new kind is a class here, which joins ``KINDS``, and a table in the example file. That is all it takes to be read
from files, checked, drawn, charged for each way to deal with a lot, shown in the budget and asked about.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Literal, Self

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.units.estimates import (
    amount_estimate,
    cost_estimate,
    named,
    planned_text,
    quantity_estimate,
)
from grader.valuation.quantities import PERS, ChargePer, Quantity, Situation
from grader.valuation.tables import AssumptionsTable

Basis = Literal["lot", "purchase"]


@dataclass(frozen=True)
class TypedEntry:
    """One text of a charge, in a file or as typed.

    Attributes:
        what: it is called in a message.
        read: the input that a text and its source make.
        nothing: text that stands for it where others of the charge are typed and it is stated nowhere.
        is_optional: whether it may be left out; it is None then.
    """

    what: str
    read: Callable[[str, str], Input]
    nothing: str
    is_optional: bool = False


class Charge(ABC):
    """A cost other than the price.

    A kind whose ``entries`` are named like its fields inherits all but ``due``.

    Attributes:
        table: name of its table in a file.
        entries: texts of that table, each of which is typed by the same name on the command line or the page.
        is_list: whether a file may have several, under ``[[table]]``.
        takes_place_of: keys of example charges that are left out where it is typed (``replaces``).
        basis: whether it falls due for a lot that is stripped, or with the purchase, whatever is then done.
    """

    table: ClassVar[str]
    entries: ClassVar[Mapping[str, TypedEntry]] = {}
    is_list: ClassVar[bool] = False
    takes_place_of: ClassVar[frozenset[str]] = frozenset()
    basis: Basis = "lot"

    @abstractmethod
    def due(self, s: Situation) -> Quantity:
        """The amount due, in money."""

    def own_hours(self, s: Situation) -> Quantity | None:  # noqa: ARG002
        """Own hours that it stands for; None for payments to others."""
        return None

    @classmethod
    def replaces(cls, typed: Container[str]) -> frozenset[str]:  # noqa: ARG003
        """Keys of the example charges that it stands for once these of its entries were typed."""
        return cls.takes_place_of

    def with_plan(self) -> Charge:
        """The same for planned work: without figures that a plan replaces."""
        return self

    @property
    def key(self) -> str:
        """Its unique key; a typed charge replaces the one with the same key."""
        return self.table

    def inputs(self) -> tuple[Input, ...]:
        """All its inputs."""
        return tuple(i for name in self.entries if (i := getattr(self, name)) is not None)

    def money(self) -> tuple[Input, ...]:
        """Its inputs in a currency."""
        return self.inputs()

    @classmethod
    def read(cls, table: AssumptionsTable) -> Self:
        """The charge that a table of a file describes.

        Raises:
            DataFileError: ``assumptions-invalid``: an entry is missing or has no meaning.
            UsageError: an entry cannot be read.
        """
        table.only({*cls.entries, "source"})
        there = {name: e for name, e in cls.entries.items() if name in table or not e.is_optional}
        return cls(**{name: e.read(table.text(name, cls.table), table.source) for name, e in there.items()})

    @classmethod
    def given(cls, known: Charge | None, texts: Mapping[str, str], source: str, currency: str) -> Self:
        """The charge with some entries as typed; the others stay as in the one that is known, otherwise are nothing.

        Raises:
            UsageError: an entry cannot be read; the message names it.
        """

        def entry(name: str, e: TypedEntry) -> Input | None:
            if name not in texts and isinstance(known, cls):
                kept: Input | None = getattr(known, name)
                return kept
            if name not in texts and e.is_optional:
                return None
            text = texts.get(name, e.nothing.format(currency=currency))
            return named(e.what, lambda typed: e.read(typed, source), text)

        return cls(**{name: entry(name, e) for name, e in cls.entries.items()})


@dataclass(frozen=True)
class Cost(Charge):
    """An amount, or amounts per unit of what a lot has or needs: so much, and so much a kilogram, a board, a litre.

    Attributes:
        input: the amount; its unit is the currency code, followed by what it is per ("USD", "USD/l").
        basis: once a lot that is stripped (reagents), or once a purchase, whatever is then done (shipping).
        quantity: what the amount is multiplied by; None for once, or where it is per something for as much of that as
            the lot has.
        more: further amounts, each per something that the lot has.
        planned: whether a plan of the work replaces the quantity, or of the amount that falls due once.
    """

    table = "cost"
    is_list = True

    input: Input
    basis: Basis = "lot"
    quantity: Input | None = None
    more: tuple[Input, ...] = ()
    planned: bool = False

    @property
    def key(self) -> str:
        """The name of its amount."""
        return self.input.name

    def due(self, s: Situation) -> Quantity:
        """The amounts, as often as they are due."""
        total = self._first(s)
        for amount in self.more:
            total += self._each(amount, s)
        return total.scaled(s.purchases) if self.basis == "purchase" else total

    def _first(self, s: Situation) -> Quantity:
        per = per_what(self.input)
        if self.planned and per is None and s.chemicals is not None:
            return s.chemicals
        if per is not None and (self.quantity is None or (self.planned and per in s.amounts)):
            return self._each(self.input, s)
        return s.once.times(self.input, *(() if self.quantity is None else (self.quantity,)))

    def _each(self, amount: Input, s: Situation) -> Quantity:
        per = per_what(amount)
        if per is None:
            return s.once.times(amount)
        return s.amounts[per].times(amount) if per in s.amounts else s.nothing

    def not_counted(self, known: Container[ChargePer]) -> bool:
        """Whether it is per something that is not among what is known of the lot, so that a part is left out."""
        return any(
            per is not None and per not in known
            for per in (
                *((per_what(self.input),) if self.quantity is None else ()),
                *(per_what(amount) for amount in self.more),
            )
        )

    def with_plan(self) -> Cost:
        """The cost where the work is planned: without the figures that a plan replaces."""
        if not self.planned:
            return self
        if per_what(self.input) is not None:
            return replace(self, quantity=None)
        return replace(self, input=replace(self.input, distribution=_PLANNED, source=BY_PLAN))

    def inputs(self) -> tuple[Input, ...]:
        """Its inputs."""
        return (self.input, *self.more) if self.quantity is None else (self.input, self.quantity, *self.more)

    def money(self) -> tuple[Input, ...]:
        """The amounts."""
        return (self.input, *self.more)

    @classmethod
    def read(cls, table: AssumptionsTable, of_sale: tuple[str, ...] = ()) -> Self:
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
            title: in plain words.
            amount: as typed: "12 USD", "5 USD/l", "8 USD + 0.6 USD/kg"; "as planned, else 10 USD" for reagents.
            quantity: what the first amount is multiplied by, "3 l" or "as planned, else 3 l"; empty for once, or for
                as much as the lot has.
            source: where the figures come from.
            basis: how often it falls due.

        Raises:
            UsageError: as ``cost_estimate``.
        """
        planned_amount, amount = planned_text(amount)
        planned_quantity, quantity = planned_text(quantity)
        first, *others = (part.strip() for part in re.split(r"\s\+\s", amount))
        known, unit, many, per = cost_estimate(first, quantity)
        how_many = None if many is None else Input("quantity", f"{title}: how much", many, source, per, of)
        more = []
        for n, text in enumerate(others, 2):
            each, each_unit = amount_estimate(text)
            words = each_unit.partition("/")[2]
            more.append(
                Input("cost", f"{title}, per {words}" if words else title, each, source, each_unit, (*of, str(n)))
            )
        amount_input = Input("cost", title, known, source, unit, of)
        return cls(amount_input, basis, how_many, tuple(more), planned_amount or planned_quantity)


_PLANNED = Distribution("constant", (0.0,))
BY_PLAN = "the plan of the work"


def per_what(amount: Input) -> ChargePer | None:
    """The unit an amount of money is per; None for a single payment."""
    word = amount.unit.partition("/")[2]
    return next((per for per in PERS if per == word), None)


def own_hours(title: str, text: str, source: str, of: tuple[str, ...] = ()) -> Input:
    """Own time from "2..4 h", or from what "as planned, else 2..4 h" says for where there is no plan.

    Raises:
        UsageError: ``unit-wrong-kind`` where it is not a time, or as ``quantity_estimate``.
    """
    spent, unit = quantity_estimate(planned_text(text)[1])
    if unit != "h":
        raise UsageError("unit-wrong-kind", f"'{text}' is not a working time.", "Write it as '2..4 h'.")
    return Input("hours", title, spent, source, unit, of)


def _rate(text: str, source: str) -> Input:
    worth, per = amount_estimate(text)
    if not per.endswith("/h"):
        raise UsageError("unit-wrong-kind", f"'{text}' is not per hour.", "Write it as '15 USD/h'.")
    return Input("rate", "worth of an own hour", worth, source, per)


@dataclass(frozen=True)
class Work(Charge):
    """Own working time.

    Attributes:
        hours: of work, unit "h".
        rate: what an hour is worth to oneself, unit "USD/h"; zero or None leaves it unpaid.
        planned: whether the hours of a plan of the work replace these.
    """

    table = "work"
    entries: ClassVar[Mapping[str, TypedEntry]] = {
        "hours": TypedEntry("own time", lambda text, source: own_hours("own hours", text, source), "0 h"),
        "rate": TypedEntry("own time", _rate, "0 {currency}/h"),
    }

    hours: Input
    rate: Input | None
    planned: bool = False

    def due(self, s: Situation) -> Quantity:
        """Own hours at their rate."""
        return s.nothing if self.rate is None else self.own_hours(s).times(self.rate)

    def own_hours(self, s: Situation) -> Quantity:
        """The hours."""
        if self.planned and "h" in s.amounts:
            return s.amounts["h"]
        return s.once.times(self.hours)

    def with_plan(self) -> Work:
        """The work where it is planned: without hours of its own."""
        if not self.planned:
            return self
        return replace(self, hours=replace(self.hours, distribution=_PLANNED, source=BY_PLAN))

    @classmethod
    def read(cls, table: AssumptionsTable) -> Self:
        """The work that a table describes."""
        made = super().read(table)
        return replace(made, planned=planned_text(table.text("hours", cls.table))[0])

    @classmethod
    def given(cls, known: Charge | None, texts: Mapping[str, str], source: str, currency: str) -> Self:
        """The work with hours or rate as typed."""
        made = super().given(known, texts, source, currency)
        kept = isinstance(known, cls) and known.planned
        return replace(made, planned=planned_text(texts["hours"])[0] if "hours" in texts else kept)

    def money(self) -> tuple[Input, ...]:
        """The rate."""
        return () if self.rate is None else (self.rate,)


def with_charges(charges: Iterable[Charge], *new: Charge) -> tuple[Charge, ...]:
    """Charges with others, each in place of the one of the same key, otherwise at the end."""
    by_key = {c.key: c for c in new}
    kept = [by_key.pop(c.key, c) for c in charges]
    return (*kept, *by_key.values())
