"""Recovery counts once: a learned thickness is what is recovered already."""

from __future__ import annotations

from dataclasses import replace

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.thickness import THICKNESS
from grader.model import ProductModel
from grader.valuation.model import Assumptions


def recovery_once(assumptions: Assumptions, gold_mg: ProductModel) -> Assumptions:
    """The assumptions, with a recovery of 1 where the gold was estimated with learned effective thickness.

    Raises:
        UsageError: ``thickness-mixed``: some of the gold was estimated with learned thickness, some with published;
            ``beliefs-mixed``: with what was learned at different times.
    """
    used = [i for i in gold_mg.used_inputs() if i.kind == THICKNESS]
    beliefs = {i.belief for i in used if i.is_recovered}
    if not beliefs:
        return assumptions
    if len(beliefs) > 1:
        raise UsageError(
            "beliefs-mixed",
            "Some photos were measured before your latest yields were learned from, others after.",
            "Measure all photos of the lot again.",
        )
    if not all(i.is_recovered for i in used):
        raise UsageError(
            "thickness-mixed",
            "Some photos were measured with published thickness, others with thickness learned "
            "from your yields: the first give gold present, the others gold recovered.",
            "Measure all photos of the lot again.",
        )
    recovery = replace(
        assumptions.recovery,
        distribution=Distribution("constant", (1.0,)),
        source="in the learned effective thickness already",
    )
    return replace(assumptions, recovery=recovery, examples=assumptions.examples - {recovery.name})
