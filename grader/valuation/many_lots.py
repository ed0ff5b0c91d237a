"""An accepted chance of a loss over many lots instead of each: a budget over a month of bids.

Buys that lose are, on average, as many as the sum of their chances of a loss. So the accepted share of the buys
loses on average where the mean of the chances is the accepted one, whatever each of them is: a Bayesian false
discovery rate (Müller, Parmigiani, Robert, Rousseau, J. Am. Stat. Assoc. 99 (2004) 990). With earlier bids of chances
``c``, ``n`` of them, a lot may carry ``accepted × (n + 1) - Σ c``. What safe bids leave unused, a risky lot may use.
"""

from __future__ import annotations

from collections.abc import Sequence

from grader.units import parse_share

MOST = 0.5  # no more is accepted of any lot alone either


def left_for_this(accepted: float, earlier: Sequence[float]) -> float:
    """Chance of a loss that a lot may carry so that it and the earlier bids lose as often as accepted, 0..0.5."""
    return min(max(accepted * (len(earlier) + 1) - sum(earlier), 0.0), MOST)


def parse_bids(text: str) -> tuple[float, ...]:
    """Chances of a loss of earlier bids from "2 %, 0.5 %, 15 %"; empty text for none.

    Raises:
        UnitError: as ``parse_share``.
    """
    return tuple(parse_share(each) for each in text.split(",") if each.strip())
