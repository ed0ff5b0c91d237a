"""Belief about effective thickness, learned from weighed gold."""

from calibration.belief.batches import Batch, Priors, WeighedPlating, published_priors
from calibration.belief.learn import UNLIKELY, Belief, PartKnown, SellerKnown, Shift, learn
from calibration.belief.parts import UncertainSpread

__all__ = [
    "UNLIKELY",
    "Batch",
    "Belief",
    "PartKnown",
    "Priors",
    "SellerKnown",
    "Shift",
    "UncertainSpread",
    "WeighedPlating",
    "learn",
    "published_priors",
]
