"""The bid for a lot: what is known of its boards, of the work on them, and of money, brought together."""

from __future__ import annotations

from grader.bid.bench import WorkBench
from grader.bid.bid import bid_for

__all__ = ["WorkBench", "bid_for"]
