"""The bid for a lot: brings together its boards, the work on them, and the money."""

from __future__ import annotations

from grader.bid.bench import WorkBench
from grader.bid.bid import bid_for
from grader.bid.cuts import PlansOfPhotos, cuts_of_boards, cuts_of_documents

__all__ = ["PlansOfPhotos", "WorkBench", "bid_for", "cuts_of_boards", "cuts_of_documents"]
