"""When the gold is sold: after the days that the plan of the work takes, where the figures leave it to the plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.inputs import DEFAULT_SEED
from grader.valuation.bench import Bench
from grader.valuation.books import all_values
from grader.valuation.entries import drift_over
from grader.valuation.model import Assumptions
from grader.valuation.portions import Portion, Stock

_DRAWS = 5000  # of which only a median is taken
_DAYS_A_WEEK = 7.0


def sold_as_planned(a: Assumptions, bench: Bench, held: Sequence[Portion]) -> Assumptions:
    """The figures with the time until the sale that stripping the whole lot takes.

    One time holds for all ways: whoever strips a part of the lot only is done sooner, and risks a little less.

    Args:
        a: with ``weeks_after_plan``, otherwise they stay as they are.
        bench: that plans the work.
        held: the lot's portions, all of which can be planned.
    """
    if a.weeks_after_plan is None or a.drift is None or not a.weeks:
        return a
    models = [m for p in held for m in p.models()]
    values = all_values(models, a, _DRAWS, DEFAULT_SEED, bench.inputs())
    days = bench.days(Stock.of(held, values, _DRAWS), values)
    if days is None:
        return a
    weeks = math.ceil(float(np.median(days))) / _DAYS_A_WEEK + a.weeks_after_plan
    return replace(a, drift=drift_over(a.drift, a.weeks, weeks), weeks=weeks)
