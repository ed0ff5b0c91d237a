"""Belief about effective thickness, learned from weighed gold."""

from calibration.belief.batches import Batch, Plating, Priors, Spread, published_priors
from calibration.belief.learn import UNLIKELY, Belief, Shift, learn

__all__ = [
    "UNLIKELY",
    "Batch",
    "Belief",
    "Plating",
    "Priors",
    "Shift",
    "Spread",
    "learn",
    "published_priors",
]
