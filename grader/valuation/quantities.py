"""Quantities of a lot in two forms that are made together: draws for prices and odds, products for the budget."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from calibration.inputs import FloatArray, Input
from grader.model import EMPTY, ProductModel

Values = Mapping[str, FloatArray]


@dataclass(frozen=True)
class Quantity:
    """One quantity. Whatever is done to it is done to both of its forms, so that they cannot drift apart.

    Attributes:
        draws: float64 (n,).
        terms: the same as a sum of products of inputs. Equal to the draws but where these are no sum of products:
            gold is never below zero, a charge never below its minimum.
        values: draws of every input by its name, each float64 (n,).
    """

    draws: FloatArray
    terms: ProductModel
    values: Values = field(repr=False)

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
        return Quantity(np.maximum(model.evaluate(values, n), 0.0) * unit, model.times((), unit), values)

    def times(self, *inputs: Input) -> Quantity:
        """Multiplied by inputs."""
        draws = self.draws
        for i in inputs:
            draws = draws * self.values[i.name]
        return Quantity(draws, self.terms.times(inputs), self.values)

    def scaled(self, factor: float) -> Quantity:
        """Multiplied by a number."""
        return Quantity(self.draws * factor, self.terms.times((), factor), self.values)

    def raised_by(self, share: Input) -> Quantity:
        """With a share of itself on top."""
        return Quantity(
            self.draws * (1 + self.values[share.name]), self.terms + self.terms.times((share,)), self.values
        )

    def without(self, share: Input) -> Quantity:
        """With a share of itself taken away."""
        left = self.terms + self.terms.times((share,), -1.0)
        return Quantity(self.draws * (1 - self.values[share.name]), left, self.values)

    def at_least(self, least: Quantity) -> Quantity:
        """The greater of the two: no sum of products, so its terms are those of whichever is greater more often."""
        most_draws = np.mean(self.draws < least.draws) > 0.5
        return Quantity(np.maximum(self.draws, least.draws), least.terms if most_draws else self.terms, self.values)

    def __add__(self, other: Quantity) -> Quantity:
        return Quantity(self.draws + other.draws, self.terms + other.terms, self.values)


@dataclass(frozen=True)
class Situation:
    """One way to deal with a lot: all that a charge may depend on.

    Attributes:
        once: the number one.
        purchases: how many buys the lot takes.
        delivered_g: gold that is handed to the refiner, g; nothing where the boards are sold by weight.
        sold_kg: what is sold by weight, kg; nothing where the lot is stripped.
    """

    once: Quantity
    purchases: int
    delivered_g: Quantity
    sold_kg: Quantity

    def with_also(self, other: Situation) -> Situation:
        """What is done in both, one beside the other."""
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
    ) -> Situation:
        """A situation in which what is left out is nothing."""
        nothing = Quantity.nothing(values, n)
        return Situation(Quantity.number(1.0, values, n), purchases, delivered_g or nothing, sold_kg or nothing)
