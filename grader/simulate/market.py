"""Markets: kinds of boards on offer, shares of flash gold and bare boards, and which boards sellers show."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from types import MappingProxyType

import numpy as np

from calibration.belief import Priors
from calibration.belief.maps import normal_quantity
from calibration.belief.parts import FamilyPrior, Shared
from calibration.errors import UsageError
from calibration.finishes import HARD_GOLD
from calibration.kinds import UNKNOWN, KindKey, board_kind
from calibration.packaged import packaged_text
from calibration.sourced import SourcedEntry, parse_entries
from grader.lot.model import Picked

_KEYS = ("title", "kinds", "flash", "picking", "bare", "boards_spread", "terms", "source", "how_known")


@dataclass(frozen=True)
class InventedMarket:
    """A market.

    Attributes:
        name: key in the data file.
        title: name in plain words.
        kinds: kinds of boards, with their weights.
        flash: share of the kinds of boards that are flash gold; None to draw it from the priors.
        picking: share of the sellers that show their best boards.
        bare: share of the boards that carry no gold.
        boards_spread: spread of the logarithm of gold between the boards of a lot; None to draw it, and the share of
            bare boards, from what is assumed.
        terms: entries of the buyers' assumptions.
    """

    name: str
    title: str
    kinds: Mapping[KindKey, float]
    flash: float | None = None
    picking: float = 0.0
    bare: float = 0.0
    boards_spread: float | None = None
    terms: Mapping[str, str] = field(default_factory=dict)

    @property
    def picked(self) -> Picked:
        """A buyer's knowledge of how the boards shown were chosen: by the seller, where some sellers pick."""
        return "seller" if self.picking else "blindly"

    def kind(self, rng: np.random.Generator) -> KindKey:
        """Kind of one lot's boards."""
        weights = np.array(list(self.kinds.values()))
        return str(rng.choice(list(self.kinds), p=weights / weights.sum()))

    def plating(self, priors: Priors, rng: np.random.Generator) -> Mapping[KindKey, Shared]:
        """Shared unknowns of the parts of each kind in one truth of this market."""
        spread = rng.standard_normal(1)
        return {
            kind: family.at(rng.standard_normal((1, family.numbers)), spread)
            for kind in self.kinds
            for family in (self._family(priors, kind),)
        }

    def _family(self, priors: Priors, kind: KindKey) -> FamilyPrior:
        family = priors.families[priors.family_of(HARD_GOLD, kind)]
        if self.flash is None:
            return family
        return replace(family, flash_logit=normal_quantity(math.log(self.flash / (1 - self.flash)), 0.0))


USUAL = InventedMarket("usual", "boards of a kind that nobody names", MappingProxyType({UNKNOWN: 1.0}))


@cache
def markets() -> Mapping[str, InventedMarket]:
    """The markets of ``data/markets.toml`` by name."""
    text = packaged_text("grader.simulate", "data/markets.toml")
    return MappingProxyType({name: _market(name, e) for name, e in parse_entries(text, "markets").items()})


def market_named(name: str) -> InventedMarket:
    """The market of that name.

    Raises:
        UsageError: ``market-unknown``.
    """
    if name not in markets():
        raise UsageError("market-unknown", f"There is no market '{name}'.", f"Use one of {', '.join(markets())}.")
    return markets()[name]


def _market(name: str, entry: SourcedEntry) -> InventedMarket:
    entry.only(*_KEYS)
    table = entry.table
    kinds = {board_kind(str(key)).key: float(weight) for key, weight in table["kinds"].items()}

    def number(key: str) -> float | None:
        return entry.number(key) if key in table else None

    return InventedMarket(
        name,
        entry.text("title"),
        MappingProxyType(kinds),
        number("flash"),
        number("picking") or 0.0,
        number("bare") or 0.0,
        number("boards_spread"),
        MappingProxyType({str(k): str(v) for k, v in table.get("terms", {}).items()}),
    )
