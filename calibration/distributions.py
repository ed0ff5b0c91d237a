"""Distributions of one number, and their quantiles.

They are those that JCGM 101:2008 (section 6.4) assigns to common kinds of knowledge, and a lognormal for positive
quantities known to a factor. Student's t, shifted and scaled, is its choice for a few repeated observations (6.4.9);
here it is on the logarithm, for a positive quantity, and cut off, so that it has a mean.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from calibration import quantiles
from calibration.arrays import FloatArray
from calibration.errors import DataFileError

# No quantity of this trade comes near it in any unit, and floats hold many products of such numbers.
LARGEST = 1e30
# Draws of a normal number stay within this many standard deviations of its mean in all but one of 10^15 cases.
_SPREADS = 8.0
# With fewer, hardly any draw of Student's t is within the reach of a distribution that is cut off.
_LEAST_DEGREES = 0.5

# kind -> (names of its parameters, in order)
KINDS: Mapping[str, tuple[str, ...]] = {
    "constant": ("value",),
    "normal": ("mean", "sd"),
    "uniform": ("low", "high"),
    "triangular": ("low", "mode", "high"),
    "lognormal": ("median", "sigma_log"),
    "loguniform": ("low", "high"),
    "trapezoid_log": ("low", "core_low", "core_high", "high"),
    # two lognormals: with probability `weight` the first
    "lognormal_mixture": ("weight", "median", "sigma_log", "other_median", "other_sigma_log"),
    # of the logarithm, which stays within `reach_log` of its middle
    "log_student_t": ("median", "scale_log", "degrees", "reach_log"),
    # any number of lognormals, one after the other: probability, median and spread of each
    "lognormals": (),
    # a share whose logit is normal
    "logit_normal": ("median", "sd_logit"),
    # 1 with this chance, otherwise 0
    "either": ("chance",),
    # equally likely values: an estimate passed on as its own draws
    "sample": (),
}


@dataclass(frozen=True)
class Distribution:
    """A probability distribution of one number.

    Attributes:
        kind: one of ``KINDS``.
        parameters: in the order of ``KINDS[kind]``; for ``sample``, the equally likely values themselves.

    Raises:
        DataFileError: unknown kind, wrong number of parameters, parameters out of order, not finite or beyond
            all bounds.
    """

    kind: str
    parameters: tuple[float, ...]

    def __post_init__(self) -> None:
        names = KINDS.get(self.kind)
        if names is None:
            raise DataFileError(
                "distribution-unknown",
                f"'{self.kind}' is not a known distribution.",
                f"Use one of {', '.join(KINDS)}.",
            )
        match self.kind:
            case "sample":
                wrong_count = not self.parameters
            case "lognormals":
                wrong_count = not self.parameters or len(self.parameters) % 3 != 0
            case _:
                wrong_count = len(self.parameters) != len(names)
        if (
            wrong_count
            or not all(math.isfinite(p) for p in self.parameters)
            or not self._in_order()
            or self.reach > LARGEST
        ):
            raise DataFileError(
                "distribution-invalid",
                f"A {self.kind} distribution cannot have the parameters {self.parameters}.",
                f"Give {', '.join(names) or 'at least one value'}, finite, in increasing order where it applies.",
            )

    def _in_order(self) -> bool:
        p = self.parameters
        match self.kind:
            case "normal":
                return p[1] >= 0
            case "uniform" | "triangular":
                return all(a <= b for a, b in pairwise(p))
            case "lognormal":
                return p[0] > 0 and p[1] >= 0
            case "loguniform" | "trapezoid_log":
                return p[0] > 0 and all(a <= b for a, b in pairwise(p))
            case "log_student_t":
                return p[0] > 0 and p[1] >= 0 and p[2] >= _LEAST_DEGREES and p[3] >= p[1]
            case "lognormals":
                in_turn = all(w >= 0 and m > 0 and s >= 0 for w, m, s in _triples(p))
                return in_turn and math.isclose(sum(p[::3]), 1.0, abs_tol=1e-9)
            case "logit_normal":
                return 0 < p[0] < 1 and p[1] >= 0
            case "either":
                return 0 <= p[0] <= 1
            case "lognormal_mixture":
                return 0 <= p[0] <= 1 and p[1] > 0 and p[2] >= 0 and p[3] > 0 and p[4] >= 0
        return True

    @property
    def reach(self) -> float:
        """Bound on the size of draws, exceeded at most in one of 10^15 cases; infinite beyond the range of floats."""
        p = self.parameters
        try:
            match self.kind:
                case "normal":
                    return abs(p[0]) + _SPREADS * p[1]
                case "lognormal":
                    return p[0] * math.exp(_SPREADS * p[1])
                case "lognormal_mixture":
                    return max(p[1] * math.exp(_SPREADS * p[2]), p[3] * math.exp(_SPREADS * p[4]))
                case "lognormals":
                    return max(m * math.exp(_SPREADS * s) for _, m, s in _triples(p))
                case "log_student_t":
                    return p[0] * math.exp(p[3])
                case "logit_normal" | "either":
                    return 1.0
        except OverflowError:
            return math.inf
        return max(map(abs, p))

    @property
    def support(self) -> tuple[float, float]:
        """Least and greatest possible value."""
        match self.kind:
            case "normal":
                mean, sd = self.parameters
                return (mean, mean) if sd == 0 else (-math.inf, math.inf)
            case "lognormal" | "lognormal_mixture" | "lognormals":
                return (0.0, math.inf)
            case "log_student_t":
                median, scale, _, reach = self.parameters
                return (median * math.exp(-reach), median * math.exp(reach)) if scale else (median, median)
            case "logit_normal":
                return (0.0, 1.0) if self.parameters[1] else (self.parameters[0], self.parameters[0])
            case "either":
                return (0.0, 1.0) if 0 < self.parameters[0] < 1 else (self.parameters[0], self.parameters[0])
        return min(self.parameters), max(self.parameters)

    @property
    def is_constant(self) -> bool:
        """True if every draw is the same number."""
        p = self.parameters
        match self.kind:
            case "constant":
                return True
            case "normal" | "lognormal" | "log_student_t" | "logit_normal":
                return p[1] == 0
            case "lognormals":
                there = [(m, s) for w, m, s in _triples(p) if w > 0]
                return all(s == 0 for _, s in there) and len({m for m, _ in there}) == 1
            case "either":
                return p[0] in (0, 1)
            case "lognormal_mixture":
                first, other = p[0] == 0 or p[2] == 0, p[0] == 1 or p[4] == 0
                return first and other and (p[0] in (0, 1) or p[1] == p[3])
        return min(p) == max(p)

    def at(self, u: FloatArray) -> FloatArray:
        """The draws for uniform numbers, float64 (n,): the quantiles at these chances.

        A mixture instead uses chances below its weight for its first part, and the others for its other part; of
        several parts, each gets a share of the chances equal to its probability, in order.
        """
        p = self.parameters
        match self.kind:
            case "constant":
                return np.full(u.shape, p[0])
            case "normal":
                return p[0] + p[1] * quantiles.standard_normal(u)
            case "uniform":
                return p[0] + (p[1] - p[0]) * u
            case "triangular":
                return quantiles.triangular(u, *p)
            case "lognormal":
                return p[0] * np.exp(p[1] * quantiles.standard_normal(u))
            case "loguniform":
                return np.exp(math.log(p[0]) + (math.log(p[1]) - math.log(p[0])) * u)
            case "trapezoid_log":
                return np.exp(quantiles.trapezoid(u, *(math.log(x) for x in p)))
            case "lognormal_mixture":
                return _of_two(u, *p)
            case "lognormals":
                return _of_lognormals(u, p)
            case "log_student_t":
                return p[0] * np.exp(quantiles.cut_student_t(u, *p[1:]))
            case "logit_normal" | "either":
                return _of_share(u, *p)
            case _:
                values = np.asarray(p)
                return values[np.minimum((u * len(values)).astype(np.intp), len(values) - 1)]

    def sample(self, rng: np.random.Generator, n: int) -> FloatArray:
        """``n`` independent draws, float64 (n,)."""
        return self.at(rng.random(n))

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back to an equal value."""
        return {"kind": self.kind, "parameters": list(self.parameters)}

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> Distribution:
        """The inverse of ``as_json``.

        Raises:
            DataFileError: the object is not one that ``as_json`` writes.
        """
        try:
            return Distribution(str(data["kind"]), tuple(float(p) for p in data["parameters"]))
        except DataFileError:
            raise
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise DataFileError(
                "distribution-invalid", f"This is not a distribution: {data!r}.", "Measure the photo again."
            ) from error


def _triples(p: tuple[float, ...]) -> list[tuple[float, float, float]]:
    """Probability, median and spread of each lognormal."""
    return list(zip(p[::3], p[1::3], p[2::3], strict=True))


def _of_share(u: FloatArray, middle: float, sd_logit: float | None = None) -> FloatArray:
    """Shares whose logit is normal; if only the chance of a 1 is given, 0 at the lower chances and 1 above."""
    if sd_logit is None:
        return (u >= 1 - middle).astype(np.float64)
    return np.asarray(1 / (1 + (1 - middle) / middle * np.exp(-sd_logit * quantiles.standard_normal(u))))


def _of_two(u: FloatArray, weight: float, *parts: float) -> FloatArray:
    """Numbers of the first of two lognormals at chances below its weight, and of the other at the rest."""
    median, sigma, other_median, other_sigma = parts
    first = u < weight
    # each chance within its own part, divided only there, so that a tiny weight causes no overflow
    within = np.divide(u, weight, out=np.zeros_like(u), where=first)
    within = np.divide(u - weight, 1 - weight, out=within, where=~first)
    z = quantiles.standard_normal(within)
    return np.where(first, median * np.exp(sigma * z), other_median * np.exp(other_sigma * z))


def _of_lognormals(u: FloatArray, p: tuple[float, ...]) -> FloatArray:
    """Numbers at chances ``u``, each part's within its own piece of 0..1."""
    found = np.zeros_like(u)
    low = 0.0
    parts = [part for part in _triples(p) if part[0] > 0]
    for number, (weight, median, sigma) in enumerate(parts, 1):
        here = (u >= low) & ((u < low + weight) | (number == len(parts)))
        found[here] = median * np.exp(sigma * quantiles.standard_normal(np.minimum((u[here] - low) / weight, 1.0)))
        low += weight
    return found
