"""What it would be worth to know an input before deciding: expected value of partial perfect information.

The decision is to buy at a price, and what then to do with the lot, or to leave it. Without knowing more one goes the
way of the highest expected profit, or none: worth ``max(0, E[profit of each way])``. Knowing an input x one would
decide by ``E[profit of each way | x]``: worth ``E[max(0, E[profit of each way | x])]``. The difference is the most
that an answer is worth; real answers leave some doubt. The way is taken to be chosen when buying; that it can still
be changed afterwards is left out.

``E[profit | x]`` is estimated for each way by regression over the draws that are there already (Strong, Oakley and
Brennan, Med. Decis. Making 34 (2014) 311). The profit is a sum of products, so it is linear in each input alone but
for a refiner's minimum: a spline of straight pieces between quantiles fits it without bias where it is linear.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.inputs import Input
from calibration.kinds import density
from calibration.packaged import packaged_toml
from grader.choices import Choice

_KNOTS = (0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98)
# Inputs of one question whose effects may bend; of more, each moves too little of the profit for a bend to show.
_MOST_BENT = 12
# Standard deviations by which a fit must beat one of pure noise: 1 in 30 000.
_BEYOND_CHANCE = 4.0
_ROUNDING = 1e-9  # of the money at stake: a difference of sums below it is none
# A worth is asked for to two digits, and has so many with fewer draws than a price.
MOST_DRAWS = 25_000


@dataclass(frozen=True)
class Question:
    """A question to settle before buying.

    Attributes:
        text: what to ask or do.
        worth: greatest worth of a complete answer, in money.
        inputs: names of the inputs that the answer settles.
    """

    text: str
    worth: float
    inputs: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {"question": self.text, "worth": self.worth, "inputs": list(self.inputs)}


def value_of_knowing(profits: Sequence[FloatArray], known: Sequence[FloatArray]) -> float:
    """Expected value of knowing some inputs together, for the decision to buy and go one of some ways, or to leave.

    Args:
        profits: of each way, float64 (n,); leaving the lot brings zero.
        known: draws of these inputs, each float64 (n,), of the same cases; their effects are taken to add up.

    Returns:
        At least zero; zero if the inputs explain no more of any profit than chance would.
    """
    knots = _KNOTS if len(known) <= _MOST_BENT else ()
    columns = [c for draws in known for c in _spline(draws, knots)]
    if not columns:
        return 0.0
    together = np.column_stack(profits)
    mean = together.mean(axis=0)
    expected = _expected(np.column_stack(columns), together - mean) + mean
    return max(0.0, float(np.maximum(expected.max(axis=1), 0.0).mean()) - max(0.0, float(mean.max())))


def _expected(x: FloatArray, profits: FloatArray) -> FloatArray:
    """Each profit's expectation for given inputs: nothing if they explain no more than chance.

    Args:
        x: what the inputs are, float64 (n, degrees), each of mean zero.
        profits: float64 (n, ways), each less its mean.

    Returns:
        float64 (n, ways).
    """
    n, degrees = x.shape
    fitted = x @ np.linalg.lstsq(x.T @ x, x.T @ profits, rcond=None)[0]
    total, explained = (np.einsum("ij,ij->j", v, v) for v in (profits, fitted))
    # nothing varies: nothing is explained
    by_chance = explained < total * (degrees + _BEYOND_CHANCE * np.sqrt(2 * degrees)) / n
    return np.where(by_chance | (total == 0), 0.0, fitted)


def _spline(draws: FloatArray, at: Sequence[float]) -> list[FloatArray]:
    """Columns of a straight-piece spline, each of mean zero and standard deviation one, bent at these chances."""
    spread = draws.std()
    if spread <= 1e-12 * abs(draws.mean()):
        return []
    knots = np.unique(np.quantile(draws, at))
    columns = [draws, *(np.maximum(draws - knot, 0.0) for knot in knots)]
    return [(c - c.mean()) / c.std() for c in columns if c.std() > 1e-6 * spread]


def questions(
    profits: Sequence[FloatArray],
    inputs: Iterable[Input],
    values: Mapping[str, FloatArray],
    lot: Sequence[Mapping[str, Any]] = (),
    choices: Sequence[Choice] = (),
) -> tuple[Question, ...]:
    """Questions to settle before buying, most valuable first, without worthless ones.

    Args:
        profits: of each way to deal with the lot, bought at the price in question, float64 (n,).
        inputs: that the profits depend on.
        values: their draws.
        lot: as in an offer, to name photos.
        choices: questions with a few answers.
    """
    photos = _photo_names(lot)
    asked: dict[str, list[str]] = {}
    profits = [p[:MOST_DRAWS] for p in profits]
    for i in inputs:
        text = _question(i, photos)
        if text is not None and not i.distribution.is_constant:
            asked.setdefault(text, []).append(i.name)
    found = [
        Question(text, value_of_knowing(profits, [values[n][:MOST_DRAWS] for n in names]), tuple(names))
        for text, names in asked.items()
    ]
    found += [
        Question(c.question, value_of_answer(profits, values[c.input][:MOST_DRAWS], c), (c.input,))
        for c in choices
        if c.input in values
    ]
    nothing = _ROUNDING * max((float(np.abs(p).mean()) for p in profits), default=0.0)
    return tuple(sorted((q for q in found if q.worth > nothing), key=lambda q: -q.worth))


def value_of_answer(profits: Sequence[FloatArray], draws: FloatArray, choice: Choice) -> float:
    """Expected value of an answer, for the decision to buy and go one of some ways, or to leave.

    With an answer the expectation of a profit is the mean over the draws, each weighed by how much more likely the
    answer makes the input's value (importance sampling; Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, 10.4).

    Args:
        profits: as in ``value_of_knowing``.
        draws: of the input that the answer tells of, float64 (n,), of the same cases.
        choice: the question.
    """
    before = density(choice.now, draws)
    likely = np.array([weight for weight, _ in choice.answers])
    likely /= likely.sum()
    expected = []
    for _, distribution in choice.answers:
        more = density(distribution, draws) / before
        expected.append([float(profit @ more) / float(more.sum()) for profit in profits])
    with_answer = float(likely @ [max(0.0, *of_ways) for of_ways in expected])
    without = max(0.0, *(float(mean) for mean in likely @ np.array(expected)))
    return max(0.0, with_answer - without)


@cache
def _texts() -> Mapping[str, str]:
    data = packaged_toml("grader.valuation", "data/questions.toml")
    return {key: table["ask"] for key, table in data.items()}


def _question(i: Input, photos: Mapping[str, str]) -> str | None:
    ask = _texts().get(i.kind)
    if ask is None:
        return None
    about = "".join(i.of[-1:])
    return ask.format(about=photos.get(about, about), title=i.title)


def _photo_names(lot: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Names of photos by the twelve digits of their sha256 that inputs are named by."""
    return {
        str(shown[f"{face}_sha256"])[:12]: str(shown[face])
        for part in lot
        for shown in part.get("photos", ())
        for face in ("front", "back")
        if shown.get(face)
    }
