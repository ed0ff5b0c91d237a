"""A measurement as a small model: terms that are products of a number and named inputs.

``quantity = Σ_terms coefficient × Π inputs``. It is all that later stages need: the same named input gives the same
draws everywhere, so correlation survives from one photo to the lot and to the money, and it fits in JSON.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.distributions import LARGEST
from calibration.errors import DataFileError
from calibration.inputs import DEFAULT_DRAWS, DEFAULT_SEED, Input, draw_all
from calibration.thickness import FINISHES, Finish

__all__ = ["EMPTY", "FINISHES", "Finish", "FloatArray", "ProductModel", "Range", "Term"]


@dataclass(frozen=True)
class Range:
    """A value with the bounds that hold the truth with probability ``level``.

    ``value`` is the median of the draws; the bounds are the probabilistically symmetric coverage interval of
    JCGM 101:2008, 7.7.
    """

    value: float
    low: float
    high: float
    level: float = 0.9

    def as_json(self) -> dict[str, float]:
        """The form used in reports."""
        return {"value": self.value, "low": self.low, "high": self.high, "level": self.level}

    @staticmethod
    def of(draws: FloatArray, level: float = 0.9) -> Range:
        """Median and symmetric interval of draws (n,)."""
        low, mid, high = np.quantile(draws, [(1 - level) / 2, 0.5, (1 + level) / 2])
        return Range(float(mid), float(low), float(high), level)


@dataclass(frozen=True)
class Term:
    """One product: ``coefficient × Π inputs[name]`` over the names in ``factors``."""

    coefficient: float
    factors: tuple[str, ...]


class _Sum:
    """Terms with what they share taken out: ``coefficient + Σ inputs[name] × a sum``, which is worked out once.

    The terms of a lot share most of their factors: those of one photo its scale, those of one finish its thickness.
    """

    def __init__(self) -> None:
        self.coefficient = 0.0
        self.parts: dict[str, _Sum] = {}

    @staticmethod
    def of(terms: Iterable[Term]) -> _Sum:
        """The factors of most terms first, so that few products are left."""
        listed = list(terms)
        times = Counter(name for term in listed for name in term.factors)
        place = {name: i for i, (name, _) in enumerate(times.most_common())}
        whole = _Sum()
        for term in listed:
            at = whole
            for name in sorted(term.factors, key=place.__getitem__):
                at = at.parts.setdefault(name, _Sum())
            at.coefficient += term.coefficient
        return whole

    def value(self, values: Mapping[str, FloatArray]) -> FloatArray | float:
        """For given values of the inputs."""
        total: FloatArray | float = self.coefficient
        for name, part in self.parts.items():
            product = values[name] * part.value(values)
            product += total
            total = product
        return total


@dataclass(frozen=True)
class ProductModel:
    """A sum of products of named inputs.

    Attributes:
        terms: the products.
        inputs: every input that a term names.

    Raises:
        DataFileError: a term names an input that is not there.
    """

    terms: tuple[Term, ...]
    inputs: Mapping[str, Input]

    def __post_init__(self) -> None:
        missing = {f for t in self.terms for f in t.factors} - set(self.inputs)
        if missing:
            raise DataFileError(
                "model-incomplete", f"The inputs {sorted(missing)} are missing.", "Measure the photo again."
            )

    def draws(self, n: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED) -> FloatArray:
        """Draws of the quantity, float64 (n,)."""
        return self.evaluate(draw_all(self.inputs, n, seed), n)

    def evaluate(self, values: Mapping[str, FloatArray], n: int) -> FloatArray:
        """The quantity, float64 (n,), for given values of the inputs, each (n,)."""
        return np.zeros(n) + _Sum.of(self.terms).value(values)

    def used_inputs(self) -> tuple[Input, ...]:
        """The inputs that its terms use, each once, in the order of their first use."""
        return tuple(self.inputs[name] for name in dict.fromkeys(f for term in self.terms for f in term.factors))

    def __add__(self, other: ProductModel) -> ProductModel:
        """The sum of two quantities; inputs of the same name are one input.

        Raises:
            DataFileError: the two mean different things by one name.
        """
        return ProductModel(self.terms + other.terms, _merge(self.inputs, other.inputs.values()))

    @staticmethod
    def of(coefficient: float, inputs: Iterable[Input]) -> ProductModel:
        """One number multiplied by inputs."""
        return ProductModel((Term(coefficient, ()),), {}).times(inputs)

    def times(self, inputs: Iterable[Input], coefficient: float = 1.0) -> ProductModel:
        """The quantity multiplied by a number and by further inputs.

        Raises:
            DataFileError: one name means different things.
        """
        extra = tuple(inputs)
        names = tuple(i.name for i in extra)
        terms = tuple(Term(t.coefficient * coefficient, t.factors + names) for t in self.terms)
        return ProductModel(terms, _merge(self.inputs, extra))

    def product(self, other: ProductModel) -> ProductModel:
        """The product of two quantities.

        Raises:
            DataFileError: one name means different things.
        """
        parts = (self.times([other.inputs[name] for name in t.factors], t.coefficient) for t in other.terms)
        return sum(parts, EMPTY)

    def knowing(self, *inputs: Input) -> ProductModel:
        """The same quantity with further inputs beside it that no term needs: drawn together with one that it needs.

        Raises:
            DataFileError: one name means different things.
        """
        return ProductModel(self.terms, _merge(self.inputs, inputs))

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back to an equal value."""
        return {
            "terms": [{"coefficient": t.coefficient, "factors": list(t.factors)} for t in self.terms],
            "inputs": [i.as_json() for i in self.inputs.values()],
        }

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> ProductModel:
        """The inverse of ``as_json``.

        Raises:
            DataFileError: the object is not one that ``as_json`` writes, or its numbers are beyond all bounds.
        """
        try:
            terms = tuple(Term(float(t["coefficient"]), tuple(map(str, t["factors"]))) for t in data["terms"])
            inputs = [Input.from_json(i) for i in data["inputs"]]
        except DataFileError:
            raise
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise DataFileError(
                "model-invalid", "The measurement's model cannot be read.", "Measure the photo again."
            ) from error
        model = ProductModel(terms, _merge({}, inputs))
        if not all(_size_log10(term, model.inputs) < math.log10(LARGEST) for term in terms):
            raise DataFileError(
                "model-invalid",
                "The measurement's model holds numbers that are too large.",
                "Measure the photo again.",
            )
        return model


def _size_log10(term: Term, inputs: Mapping[str, Input]) -> float:
    """log10 of what a term does not exceed in size, -inf for zero, not a number where its coefficient is none."""
    sizes = [abs(term.coefficient), *(inputs[name].distribution.reach for name in term.factors)]
    return sum(math.log10(size) for size in sizes) if all(sizes) else -math.inf


def _merge(inputs: Mapping[str, Input], more: Iterable[Input]) -> dict[str, Input]:
    """Inputs by name; one name must always come with the same distribution and unit, for it is one quantity."""
    merged = dict(inputs)
    for i in more:
        known = merged.setdefault(i.name, i)
        if (known.distribution, known.unit) != (i.distribution, i.unit):
            raise DataFileError(
                "input-conflict",
                f"Two measurements disagree about '{i.name}' ({i.title}).",
                "Measure the photos again with the same assumptions.",
            )
    return merged


EMPTY = ProductModel((), {})
