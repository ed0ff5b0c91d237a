"""Quantities of a lot in two forms that are made together: draws for prices and odds, products for the budget."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.inputs import Input
from grader.model import EMPTY, ProductModel

Values = Mapping[str, FloatArray]


@dataclass(frozen=True)
class Quantity:
    """One quantity. Whatever is done to it is done to both of its forms, so that they cannot drift apart.

    Attributes:
        draws: float64 (n,).
        terms: the same as a sum of products of inputs. Equal to the draws but where these are not a sum of products:
            gold is never below zero, a charge never below its minimum.
        values: draws of every input by its name, each float64 (n,).
        bent: names of the inputs that it is not linear in, each by itself.
        either: the two that it is the greater of; None if it is not, or where more was done to it since.
    """

    draws: FloatArray
    terms: ProductModel
    values: Values = field(repr=False)
    bent: frozenset[str] = frozenset()
    either: tuple[Quantity, Quantity] | None = field(default=None, repr=False)

    @staticmethod
    def number(value: float, values: Values, n: int) -> Quantity:
        """A number that is known, ``n`` times."""
        return Quantity(np.full(n, value), ProductModel.of(value, ()), values)

    @staticmethod
    def nothing(values: Values, n: int) -> Quantity:
        """Zero, without a term."""
        return Quantity(np.zeros(n), EMPTY, values)

    @staticmethod
    def present(model: ProductModel, unit: float, values: Values, n: int) -> Quantity:
        """What a model says is there, times a factor between units; a range that reaches below zero ends at zero."""
        drawn = model.evaluate(values, n)
        bent = _used(model) if drawn.min() < 0 else frozenset()
        return Quantity(np.maximum(drawn, 0.0) * unit, model.times((), unit), values, bent)

    def times(self, *inputs: Input) -> Quantity:
        """Multiplied by inputs."""
        draws = self.draws
        for i in inputs:
            draws = draws * self.values[i.name]
        return replace(self, either=None, draws=draws, terms=self.terms.times(inputs))

    def scaled(self, factor: float) -> Quantity:
        """Multiplied by a number."""
        return replace(self, either=None, draws=self.draws * factor, terms=self.terms.times((), factor))

    def raised_by(self, share: Input, times: float = 1.0) -> Quantity:
        """With a share of itself on top, or a number of times that share."""
        raised = self.terms + self.terms.times((share,), times)
        return replace(self, either=None, draws=self.draws * (1 + times * self.values[share.name]), terms=raised)

    def without(self, share: Input) -> Quantity:
        """With a share of itself taken away."""
        left = self.terms + self.terms.times((share,), -1.0)
        return replace(self, either=None, draws=self.draws * (1 - self.values[share.name]), terms=left)

    def less(self, other: Quantity) -> Quantity:
        """What is left of it without another; nothing if that is more."""
        left = self + other.scaled(-1.0)
        return replace(left, draws=np.maximum(left.draws, 0.0))

    def replaced(self, draws: FloatArray) -> Quantity:
        """Other draws of it, which its terms only stand for: it is taken to be linear in none of their inputs."""
        return Quantity(draws, self.terms, self.values, self.bent | _used(self.terms))

    def only_where(self, holds: NDArray[np.bool_] | None, by: Quantity) -> Quantity:
        """Itself in draws in which something holds that another quantity decides, otherwise 0; None for always."""
        if holds is None or holds.all():
            return self
        bent = self.bent | _used(self.terms) | _used(by.terms)
        return Quantity(
            np.where(holds, self.draws, 0.0), self.terms if holds.mean() > 0.5 else EMPTY, self.values, bent
        )

    def driving(self, draws: FloatArray) -> Quantity:
        """Another quantity that grows with this one, of which only draws are known.

        Its terms are this one's, scaled to its mean: enough for a budget; it is taken to be linear in none of them.
        """
        mean = float(self.draws.mean())
        terms = self.terms.times((), float(draws.mean()) / mean) if mean > 0 else EMPTY
        return Quantity(draws, terms, self.values, _used(self.terms))

    def at_least(self, least: Quantity) -> Quantity:
        """The greater of the two: no sum of products, so its terms are those of whichever is greater more often."""
        most_draws = np.mean(self.draws < least.draws) > 0.5
        return Quantity(
            np.maximum(self.draws, least.draws),
            least.terms if most_draws else self.terms,
            self.values,
            self.bent | least.bent | _used(self.terms) | _used(least.terms),
            (self, least),
        )

    def __add__(self, other: Quantity) -> Quantity:
        either = None
        if self.either is not None and other.either is None:
            either = (self.either[0] + other, self.either[1] + other)
        terms, bent = self.terms + other.terms, self.bent | other.bent
        return Quantity(self.draws + other.draws, terms, self.values, bent, either)


def _used(terms: ProductModel) -> frozenset[str]:
    return frozenset(f for term in terms.terms for f in term.factors)


# What amounts of money can be per, besides once: kilograms of what is bought or sold, kilograms that are cut off or
# stripped, gold delivered, boards, cuts, vessel loads, litres of waste, hours of one's own.
ChargePer = Literal["kg", "kg of pieces", "g of gold", "board", "cut", "load", "l", "h"]
PERS: tuple[ChargePer, ...] = get_args(ChargePer)


@dataclass(frozen=True)
class Situation:
    """One thing that is done with boards: all that a charge may depend on.

    Attributes:
        once: the number one.
        purchases: how many buys the lot takes.
        delivered_g: gold that is handed to the refiner, g; nothing if the boards are sold by weight.
        sold_kg: what is sold by weight, kg; nothing if the lot is stripped.
        amounts: what else a charge can be per, as far as it is known.
        chemicals: what the plan of a batch says that reagents, filters and rinse water cost; None without a plan.
    """

    once: Quantity
    purchases: int
    delivered_g: Quantity
    sold_kg: Quantity
    amounts: Mapping[ChargePer, Quantity] = field(default_factory=dict)
    chemicals: Quantity | None = None

    def with_also(self, other: Situation) -> Situation:
        """What is done in both, one beside the other; amounts of the lot itself stay those of the first."""
        return replace(self, delivered_g=self.delivered_g + other.delivered_g, sold_kg=self.sold_kg + other.sold_kg)

    @property
    def nothing(self) -> Quantity:
        """Zero."""
        return Quantity.nothing(self.once.values, len(self.once.draws))

    @staticmethod
    def of(
        values: Values,
        n: int,
        purchases: int,
        *,
        delivered_g: Quantity | None = None,
        sold_kg: Quantity | None = None,
        amounts: Mapping[ChargePer, Quantity | None] | None = None,
        chemicals: Quantity | None = None,
    ) -> Situation:
        """A situation in which what is left out is nothing, or not known."""
        nothing = Quantity.nothing(values, n)
        known = {per: amount for per, amount in (amounts or {}).items() if amount is not None}
        return Situation(
            Quantity.number(1.0, values, n),
            purchases,
            delivered_g or nothing,
            sold_kg or nothing,
            known,
            chemicals,
        )
