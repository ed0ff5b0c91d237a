"""Propagation of distributions by Monte Carlo, after JCGM 101:2008.

``propagate`` takes any model that works on arrays. A ``ProductModel`` is one, and draws its inputs the same way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.inputs import DEFAULT_SEED, Input, draw_all
from grader.model import Range


@dataclass(frozen=True)
class Propagation:
    """Draws of a model's output and their summaries.

    Attributes:
        draws: float64 (n,), in the order of the inputs' draws.
    """

    draws: FloatArray

    @property
    def mean(self) -> float:
        """Estimate of the output (7.6)."""
        return float(np.mean(self.draws))

    def symmetric(self, level: float) -> Range:
        """Median and probabilistically symmetric coverage interval (7.7.2)."""
        return Range.of(self.draws, level)

    def shortest(self, level: float) -> Range:
        """Median and shortest coverage interval (7.7.4, 5.3.4): for skewed or multimodal outputs."""
        ordered = np.sort(self.draws)
        span = min(math.floor(level * ordered.size + 0.5), ordered.size - 1)
        widths = ordered[span:] - ordered[: ordered.size - span]
        start = int(np.argmin(widths))
        return Range(float(np.median(ordered)), float(ordered[start]), float(ordered[start + span]), level)


def propagate(
    model: Callable[..., FloatArray],
    inputs: Mapping[str, Distribution | Input],
    n: int,
    seed: int = DEFAULT_SEED,
) -> Propagation:
    """Draw the inputs and run the model on them.

    Args:
        model: called with each input's draws, float64 (n,), as keyword arguments; returns float64 (n,).
        inputs: by argument name. A bare distribution is an input of that name, independent of the others.
        n: number of draws. The standard uncertainty is then known to about 1 / sqrt(2 n) for a normal output.
        seed: of the random numbers.
    """
    named = {k: v if isinstance(v, Input) else Input(k, k, v, "given") for k, v in inputs.items()}
    output = np.asarray(model(**draw_all(named, n, seed)), dtype=np.float64)
    assert output.shape == (n,)
    assert np.isfinite(output).all()
    return Propagation(output)
