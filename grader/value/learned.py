"""Recovery counts once: a learned thickness is what is recovered already."""

from __future__ import annotations

from dataclasses import replace

from calibration.belief import MARK
from calibration.errors import UsageError
from calibration.inputs import Distribution
from grader.model import ProductModel
from grader.value.model import Assumptions

_THICKNESS = "thickness:"


def recovery_once(assumptions: Assumptions, gold_mg: ProductModel) -> Assumptions:
    """The assumptions, with a recovery of 1 where the gold was estimated with learned effective thickness.

    Raises:
        UsageError: ``thickness-mixed``: some of the gold was estimated with learned thickness, some with published;
            ``beliefs-mixed``: with what was learned at different times.
    """
    used = {f for term in gold_mg.terms for f in term.factors if f.startswith(_THICKNESS)}
    learned = {name for name in used if MARK in name}
    if not learned:
        return assumptions
    beliefs = {name.partition(MARK)[2].partition(":")[0] for name in learned}
    if len(beliefs) > 1:
        raise UsageError(
            "beliefs-mixed",
            "Some photos were measured before, others after your yields taught something new.",
            "Measure all photos of the lot again.",
        )
    if learned != used:
        raise UsageError(
            "thickness-mixed",
            "Some photos were measured with published thickness, others with what your yields taught: the one is "
            "gold present, the other gold recovered.",
            "Measure all photos of the lot again.",
        )
    recovery = replace(
        assumptions.recovery,
        distribution=Distribution("constant", (1.0,)),
        source="in the learned effective thickness already",
    )
    return replace(assumptions, recovery=recovery, examples=assumptions.examples - {recovery.name})
