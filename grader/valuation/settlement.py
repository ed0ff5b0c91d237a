"""A refiner's charges and payment for one settlement.

With g the gold that reaches the refiner after melting, and p the gold of other lots that waits in the pot:

    g = gold delivered × (1 - melt loss)
    charges = lot fee + assay + treatment × (g + p) + max(charge per gram × (g + p), least charge)
    this lot bears charges × g / (g + p), and is paid g × gold price × payable share of a lot of g + p

Below the least gold nothing is settled. Such terms are common practice among refiners of small lots (no source): a
fee for the lot and its assay, a charge by weight, a share of the price that rises with the lot.
"""

from __future__ import annotations

import re
from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from calibration.errors import UsageError
from calibration.inputs import Input
from grader.units import in_digits, parse_mass_g, parse_weighed_mg, range_ends
from grader.units.estimates import amount_estimate, distribution_of, money_estimate, named, share_estimate
from grader.valuation.charges import Charge, TypedEntry
from grader.valuation.quantities import Quantity, Situation, Values
from grader.valuation.tables import AssumptionsTable

_G_PER_KG = 1e3


def _per_gram(text: str, source: str) -> Input:
    charge, currency = money_estimate(re.sub(r"/\s*g\b", "", text))
    title = "refining charge per gram of gold"
    return Input("settlement", title, charge, source, f"{currency}/g", of=("per-gram",))


def _once(key: str, title: str) -> TypedEntry:
    def read(text: str, source: str) -> Input:
        known, currency = money_estimate(text)
        return Input("settlement", title, known, source, currency, of=(key,))

    return TypedEntry(title, read, "0 {currency}", is_optional=key != "minimum")


def _treatment(text: str, source: str) -> Input:
    known, unit = amount_estimate(text)
    if not unit.endswith("/kg"):
        raise UsageError("unit-wrong-kind", f"'{text}' is not per kilogram.", "Write it as '200 USD/kg'.")
    return Input("settlement", "treatment charge by weight sent in", known, source, unit, of=("treatment",))


def _melt_loss(text: str, source: str) -> Input:
    return Input("melt-loss", "gold lost in melting", share_estimate(text), source)


def _grams(kind: str, title: str) -> TypedEntry:
    def read(text: str, source: str) -> Input:
        known = distribution_of([parse_weighed_mg(part) * 1e-3 for part in range_ends(text)], text)
        return Input(kind, title, known, source, "g")

    return TypedEntry(title, read, "0 g", is_optional=True)


@dataclass(frozen=True)
class Tier:
    """The share of the gold price that is paid for a lot from a size on.

    Attributes:
        from_g: gold in the lot, g.
        share: 0..1.
    """

    from_g: float
    share: Input


def read_tiers(text: str, source: str) -> tuple[Tier, ...]:
    """Shares by the size of the lot from "0 g: 85 %; 20 g: 90..93 %; 100 g: 96 %".

    Raises:
        UsageError: ``tiers-unreadable`` where they do not begin at 0 g and rise, or as the parts.
    """
    found = []
    for number, part in enumerate(text.split(";"), 1):
        size, colon, share = part.partition(":")
        if not colon:
            raise UsageError(
                "tiers-unreadable",
                f"'{part.strip()}' names no size and share.",
                "Write it as '0 g: 85 %; 20 g: 92 %'.",
            )
        from_g = 0.0 if re.fullmatch(r"\s*0+(?:\.0*)?\s*g?\s*", size) else parse_mass_g(size)
        title = f"share of the gold price that is paid from {in_digits(from_g, 6)} g on"
        found.append(Tier(from_g, Input("payable", title, share_estimate(share), source, of=(f"tier-{number}",))))
    sizes = [tier.from_g for tier in found]
    if sizes[0] != 0 or sizes != sorted(set(sizes)):
        raise UsageError(
            "tiers-unreadable", f"'{text}' does not begin at 0 g and rise.", "Write it as '0 g: 85 %; 20 g: 92 %'."
        )
    return tuple(found)


@dataclass(frozen=True)
class Settlement(Charge):
    """A refiner's terms. What is None is not charged.

    Attributes:
        per_gram: of gold delivered, unit "USD/g".
        minimum: least charge, unit "USD".
        lot_fee: for each settlement, unit "USD".
        assay: likewise.
        treatment: by the weight that is sent in, unit "USD/kg".
        melt_loss: share of the gold that is lost in melting, 0..1.
        least_gold: below which nothing is settled, g.
        pot: gold of other lots that is settled together with this one, g.
        tiers: share of the price by the size of the lot; empty if it is the same for all.
    """

    table = "settlement"
    entries: ClassVar[Mapping[str, TypedEntry]] = {
        "per_gram": TypedEntry("charge per gram", _per_gram, "0 {currency}"),
        "minimum": _once("minimum", "refiner's minimum charge"),
        "lot_fee": _once("lot-fee", "refiner's fee for a lot"),
        "assay": _once("assay", "assay"),
        "treatment": TypedEntry("treatment charge", _treatment, "0 {currency}/kg", is_optional=True),
        "melt_loss": TypedEntry("melt loss", _melt_loss, "0 %", is_optional=True),
        "least_gold": _grams("least-gold", "least gold that is settled"),
        "pot": _grams("pot", "gold of other lots that is settled with it"),
    }
    takes_place_of = frozenset({"cost:refining"})
    _charged: ClassVar[tuple[str, ...]] = ("per_gram", "minimum", "lot_fee", "assay", "treatment")

    per_gram: Input
    minimum: Input
    lot_fee: Input | None = None
    assay: Input | None = None
    treatment: Input | None = None
    melt_loss: Input | None = None
    least_gold: Input | None = None
    pot: Input | None = None
    tiers: tuple[Tier, ...] = ()

    def due(self, s: Situation) -> Quantity:
        """The share of the charges borne by this lot."""
        received = s.delivered_g
        total = received if self.pot is None else received + s.once.times(self.pot)
        charges = total.times(self.per_gram).at_least(s.once.times(self.minimum))
        fixed = [fee for fee in (self.lot_fee, self.assay) if fee is not None]
        if fixed or self.treatment is not None:
            for fee in fixed:
                charges += s.once.times(fee)
            if self.treatment is not None:
                charges += total.scaled(1 / _G_PER_KG).times(self.treatment)
        if self.pot is not None:
            share = np.divide(received.draws, total.draws, out=np.ones_like(total.draws), where=total.draws > 0)
            charges = received.driving(charges.draws * share)
        return charges.only_where(self.is_settled(received, s.once.values), received)

    def is_settled(self, received: Quantity, values: Values) -> np.ndarray | None:
        """Draws in which the gold reaches the least that is settled, bool (n,); None if there is no such least."""
        if self.least_gold is None:
            return None
        pot = 0.0 if self.pot is None else values[self.pot.name]
        return np.asarray(received.draws + pot >= values[self.least_gold.name])

    def paid(self, received: Quantity, payable: Input) -> Quantity:
        """Gold that is paid for, g: received gold × the share that a lot of its size is paid."""
        if not self.tiers:
            paid = received.times(payable)
        else:
            pot = 0.0 if self.pot is None else received.values[self.pot.name]
            sizes = np.array([tier.from_g for tier in self.tiers])
            at = np.searchsorted(sizes, received.draws + pot, side="right") - 1
            shares = np.array([received.values[tier.share.name] for tier in self.tiers])
            usual = self.tiers[int(np.bincount(at).argmax())].share
            paid = received.times(usual).replaced(received.draws * shares[at, np.arange(len(at))])
        return paid.only_where(self.is_settled(received, received.values), received)

    def inputs(self) -> tuple[Input, ...]:
        """All its inputs."""
        return (*super().inputs(), *(tier.share for tier in self.tiers))

    def money(self) -> tuple[Input, ...]:
        """The charges."""
        return tuple(i for name in self._charged if (i := getattr(self, name)) is not None)

    @classmethod
    def replaces(cls, typed: Container[str]) -> frozenset[str]:
        """The example's share of refining charges, once a charge was typed; what is paid for gold is none."""
        return cls.takes_place_of if any(name in typed for name in cls._charged) else frozenset()

    @classmethod
    def read(cls, table: AssumptionsTable) -> Self:
        """The terms that a table describes; ``payable`` gives shares by the size of the lot."""
        rest = replace(table, data={key: value for key, value in table.data.items() if key != "payable"})
        made = super().read(rest)
        tiers = read_tiers(table.text("payable", cls.table), table.source) if "payable" in table else ()
        return replace(made, tiers=tiers)

    @classmethod
    def given(cls, known: Charge | None, texts: Mapping[str, str], source: str, currency: str) -> Self:
        """The terms with some entries as typed; "tiers" are shares by the size of the lot, empty for none."""
        made = super().given(known, texts, source, currency)
        if "tiers" not in texts:
            return replace(made, tiers=known.tiers if isinstance(known, cls) else ())
        tiers = texts["tiers"] and named("payable", lambda text: read_tiers(text, source), texts["tiers"])
        return replace(made, tiers=tiers or ())
