"""The front door of a market: listings in, a ranking out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from grader.bid import WorkBench
from grader.market.listings import MarketListing
from grader.market.pictures import stamp_of
from grader.market.rank import Ranked, ranked
from grader.market.results import Form, Results
from grader.market.run import OnProgress, measure_pictures
from grader.request import Request
from grader.valuation import Assumptions

if TYPE_CHECKING:
    from distributed import Client

MOST_TOGETHER = 16
"""Pictures of a listing whose boards are matched: work grows with the square of the number, and memory with it."""


class Market:
    """Some listings, and the place where their results are kept.

    Args:
        listings: as ``read_market`` returns them.
        request: how every picture is measured.
        results: folder or URL.
        form: format of new result files.

    Raises:
        UsageError: ``market-results``.
    """

    def __init__(
        self, listings: Sequence[MarketListing], request: Request, results: str, form: Form = "jsonl"
    ) -> None:
        self._listings = tuple(listings)
        self._request = request
        self._results = Results(results, form)

    @property
    def picture_count(self) -> int:
        """Number of pictures of all listings, each path counted once."""
        return len(self._pictures())

    def measure(self, client: Client | None = None, told: OnProgress = lambda _: None) -> dict[str, str]:
        """Measure new pictures; returns the content of each picture by its path."""
        request = self._request
        together = [p for one in self._listings if 1 < len(p := tuple(dict.fromkeys(one.pictures))) <= MOST_TOGETHER]
        return measure_pictures(
            self._pictures(), request.as_json(), stamp_of(request), self._results, client, told, together=together
        )

    def ranked(
        self, content: Mapping[str, str], figures: Assumptions, bench: WorkBench | None = None
    ) -> list[Ranked]:
        """The listings, the best first."""
        return ranked(self._listings, content, self._results.rows(stamp_of(self._request)), figures, bench)

    def _pictures(self) -> list[str]:
        return list(dict.fromkeys(p for one in self._listings for p in one.pictures))
