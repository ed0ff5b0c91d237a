"""What it would be worth to know an input before deciding: expected value of partial perfect information.

The decision is to buy at a price or to leave it. Without knowing more one buys where the expected profit is above
zero: worth ``max(0, E[profit])``. Knowing an input x one would decide by ``E[profit | x]``: worth
``E[max(0, E[profit | x])]``. The difference is the most that an answer is worth; real answers leave some doubt.

``E[profit | x]`` is estimated by regression over the draws that are there already (Strong, Oakley and Brennan, Med.
Decis. Making 34 (2014) 311). The profit is a sum of products, so it is linear in each input alone but for a refiner's
minimum: a spline of straight pieces between quantiles fits it without bias where it is linear.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from calibration.inputs import FloatArray, Input

_KNOTS = (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98)
# Standard deviations by which a fit must beat one of pure noise: 1 in 30 000.
_BEYOND_CHANCE = 4.0


@dataclass(frozen=True)
class Question:
    """Something to find out before buying.

    Attributes:
        text: what to ask or do.
        worth: the most that a full answer is worth, in money.
        inputs: names of the inputs that it would settle.
    """

    text: str
    worth: float
    inputs: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {"question": self.text, "worth": self.worth, "inputs": list(self.inputs)}


def value_of_knowing(profit: FloatArray, known: Sequence[FloatArray]) -> float:
    """Expected value of knowing some inputs together, for the decision to buy or to leave.

    Args:
        profit: float64 (n,), of buying; leaving it brings zero.
        known: draws of these inputs, each float64 (n,), of the same cases; their effects are taken to add up.

    Returns:
        At least zero; zero where the inputs explain no more of the profit than chance would.
    """
    columns = [c for draws in known for c in _spline(draws)]
    if not columns:
        return 0.0
    x = np.column_stack(columns)
    centred = profit - profit.mean()
    total = float(centred @ centred)
    slopes = np.linalg.lstsq(x.T @ x, x.T @ centred, rcond=None)[0]
    fitted = x @ slopes
    explained, n = float(fitted @ fitted), len(profit)
    degrees = x.shape[1]
    if total == 0 or explained / total < (degrees + _BEYOND_CHANCE * np.sqrt(2 * degrees)) / n:
        return 0.0
    expected = profit.mean()
    return max(0.0, float(np.mean(np.maximum(fitted + expected, 0.0)) - max(expected, 0.0)))


def _spline(draws: FloatArray) -> list[FloatArray]:
    """Columns of a straight-piece spline, each of mean zero and standard deviation one."""
    spread = draws.std()
    if spread <= 1e-12 * abs(draws.mean()):
        return []
    knots = np.unique(np.quantile(draws, _KNOTS))
    columns = [draws, *(np.maximum(draws - knot, 0.0) for knot in knots)]
    return [(c - c.mean()) / c.std() for c in columns if c.std() > 1e-6 * spread]


def questions(
    profit: FloatArray,
    inputs: Iterable[Input],
    values: Mapping[str, FloatArray],
    lot: Sequence[Mapping[str, Any]] = (),
) -> tuple[Question, ...]:
    """What to find out before buying, the most valuable first; what is worth nothing is left out.

    Args:
        profit: float64 (n,), of buying at the price in question.
        inputs: that the profit depends on.
        values: their draws.
        lot: as in an offer, to name photos.
    """
    photos = _photo_names(lot)
    asked: dict[str, list[str]] = {}
    for i in inputs:
        text = _question(i, photos)
        if text is not None and not i.distribution.is_constant:
            asked.setdefault(text, []).append(i.name)
    found = [
        Question(text, value_of_knowing(profit, [values[n] for n in names]), tuple(names))
        for text, names in asked.items()
    ]
    return tuple(sorted((q for q in found if q.worth > 0), key=lambda q: -q.worth))


@cache
def _texts() -> Mapping[str, str]:
    data = tomllib.loads(files("grader.value").joinpath("data/questions.toml").read_text("utf-8"))
    return {key: table["ask"] for key, table in data.items()}


def _question(i: Input, photos: Mapping[str, str]) -> str | None:
    kind, _, about = i.name.partition(":")
    ask = _texts().get(kind)
    if ask is None:
        return None
    if kind in ("cost", "quantity", "thickness"):
        about = i.title
    return ask.format(about=photos.get(about, about))


def _photo_names(lot: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Names of photos by the twelve digits of their sha256 that inputs are named by."""
    return {
        str(shown[f"{face}_sha256"])[:12]: str(shown[face])
        for part in lot
        for shown in part.get("photos", ())
        for face in ("front", "back")
        if shown.get(face)
    }
