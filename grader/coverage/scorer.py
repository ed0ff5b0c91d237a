"""Logistic scores of feature rows, with squares and products, and how they are fitted and stored."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

_CLIP = 4.0  # features this many standard deviations out count as that
_CHUNK = 65_536


@dataclass(frozen=True, eq=False)
class Scorer:
    """Log odds that a row belongs to the class: ``weights · (1, z, products of z)``, z the standardised features.

    Attributes:
        names: of the features, (n,).
        mean: float64 (n,).
        sd: float64 (n,).
        pairs: int (k, 2), which products of two features take part.
        weights: float64 (1 + n + k,).
    """

    names: tuple[str, ...]
    mean: NDArray[np.float64]
    sd: NDArray[np.float64]
    pairs: NDArray[np.int64]
    weights: NDArray[np.float64]

    def score(self, rows: NDArray[Any]) -> NDArray[np.float32]:
        """Log odds, float32 (...,), of feature rows (..., n)."""
        flat = rows.reshape(-1, rows.shape[-1])
        out = np.empty(len(flat), np.float32)
        weights = self.weights.astype(np.float32)
        for start in range(0, len(flat), _CHUNK):
            # not @: that heeds the processor's flags, which OpenBLAS has been known to raise for lanes that it then
            # leaves out (numpy issue 24067), and warned of finite numbers once in some runs
            out[start : start + _CHUNK] = self.design(flat[start : start + _CHUNK]).dot(weights)
        return out.reshape(rows.shape[:-1])

    def design(self, rows: NDArray[Any]) -> NDArray[np.float32]:
        """The terms that the weights multiply, float32 (m, 1 + n + k), of feature rows (m, n)."""
        z = np.clip((rows - self.mean.astype(np.float32)) / self.sd.astype(np.float32), -_CLIP, _CLIP)
        first, second = self.pairs.T
        ones = np.ones((len(z), 1), np.float32)
        return np.hstack([ones, z, z[:, first] * z[:, second]]).astype(np.float32, copy=False)

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back."""
        return {
            "names": list(self.names),
            "mean": [round(float(v), 5) for v in self.mean],
            "sd": [round(float(v), 5) for v in self.sd],
            "pairs": self.pairs.tolist(),
            "weights": [round(float(v), 5) for v in self.weights],
        }

    @staticmethod
    def from_json(data: dict[str, Any]) -> Scorer:
        """The inverse of ``as_json``."""
        return Scorer(
            tuple(data["names"]),
            np.asarray(data["mean"], np.float64),
            np.asarray(data["sd"], np.float64),
            np.asarray(data["pairs"], np.int64).reshape(-1, 2),
            np.asarray(data["weights"], np.float64),
        )
