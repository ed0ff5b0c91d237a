"""Learning from weighed gold: the belief of a log, estimates against yields, returns and profits of lots."""

from grader.learn.batches import Batches, batches_of
from grader.learn.compare import (
    LEVELS,
    CurvePoint,
    TrackRecord,
    YieldBesideEstimate,
    calibration_curve,
    pairs,
    record,
    records,
)
from grader.learn.flags import Flag, flags
from grader.learn.ledger import Account, Outcome, accounts, accounts_by, outcomes, ranges_held
from grader.learn.newest import TOGETHER, Newest, newest, newest_in
from grader.learn.returns import Return, returns, returns_by
from grader.learn.weighings import Weighed, Weighing, weighed_gold, weighings

__all__ = [
    "LEVELS",
    "TOGETHER",
    "Account",
    "Batches",
    "CurvePoint",
    "Flag",
    "Newest",
    "Outcome",
    "Return",
    "TrackRecord",
    "Weighed",
    "Weighing",
    "YieldBesideEstimate",
    "accounts",
    "accounts_by",
    "batches_of",
    "calibration_curve",
    "flags",
    "newest",
    "newest_in",
    "outcomes",
    "pairs",
    "ranges_held",
    "record",
    "records",
    "returns",
    "returns_by",
    "weighed_gold",
    "weighings",
]
