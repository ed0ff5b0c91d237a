"""Learning from what was weighed: the belief of a log, estimates against yields, what lots returned."""

from grader.learn.batches import Batches, batches_of
from grader.learn.compare import LEVELS, Pair, Record, Step, calibration_curve, pairs, record, records
from grader.learn.flags import Flag, flags
from grader.learn.newest import TOGETHER, Newest, newest, newest_in
from grader.learn.returns import Return, returns, returns_by
from grader.learn.weighings import Weighed, Weighing, weighed, weighings

__all__ = [
    "LEVELS",
    "TOGETHER",
    "Batches",
    "Flag",
    "Newest",
    "Pair",
    "Record",
    "Return",
    "Step",
    "Weighed",
    "Weighing",
    "batches_of",
    "calibration_curve",
    "flags",
    "newest",
    "newest_in",
    "pairs",
    "record",
    "records",
    "returns",
    "returns_by",
    "weighed",
    "weighings",
]
