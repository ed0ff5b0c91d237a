"""The bid for a lot: brings together its boards, the work on them, and the money."""

from __future__ import annotations

from grader.bid.bench import WorkBench
from grader.bid.bid import bid_for

__all__ = ["WorkBench", "bid_for"]
