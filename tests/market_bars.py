"""What buying by this tool comes to in invented markets.

``python -m tests.market_bars [TRADES [LOTS [SEED [MARKETS [shown]]]]]``. For each market and state of knowledge
(``grader.simulate.by_market``): how often a lot would lose at the highest price, and what the buyers earn of the
oracle's profit by each rule; in the end the medians over the markets. With ``shown`` photos show every board, so that
what remains of the caution is not that of boards that nobody saw.

    python -m tests.market_bars 40 3 1
    python -m tests.market_bars 40 3 1 memory,mixed,flash shown
"""

from __future__ import annotations

import sys
from datetime import date
from statistics import median

from grader.simulate import MarketReport, StateReport, market_named, markets, simulate_market
from grader.valuation import load_assumptions, with_given

RULES = ("highest", "chance over many", "price over many", "break-even")


def shares(state: StateReport) -> list[float]:
    """Of the oracle's profit, by each rule."""
    return [b.share_of_oracle or 0.0 for b in state.buyers[: len(RULES)]]


def line(state: StateReport) -> str:
    """One state of knowledge in words."""
    loss, by_rule = state.loss_at_highest, zip(RULES, shares(state), strict=True)
    at_highest = "none has a price" if loss is None else f"{loss.value:.0%} ({loss.low:.0%} to {loss.high:.0%}) lose"
    lost = state.buyers[2].lost_of_gains
    return (
        f"  {state.name}: {at_highest}; " + ", ".join(f"{rule} {share:.0%}" for rule, share in by_rule) + "; "
        f"lost of gains {'-' if lost is None else f'{lost:.0%}'}; range holds {state.in_range.value:.0%}"
    )


def medians(reports: list[MarketReport]) -> str:
    """Over the markets, by state and rule."""
    found = []
    for n, state in enumerate(reports[0].states):
        middle = [median(shares(r.states[n])[rule] for r in reports) for rule in range(len(RULES))]
        found.append(f"  {state.name}: " + ", ".join(f"{r} {m:.0%}" for r, m in zip(RULES, middle, strict=True)))
    return "\n".join(found)


def main(trades: int = 40, lots: int = 3, seed: int = 1, names: str = "", shown: str = "") -> None:
    """Print a line for each market and state."""
    assumptions = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date(2026, 11, 30))
    reports = []
    for name in names.split(",") if names else markets():
        reports.append(
            simulate_market(assumptions, market_named(name), trades, lots, seed, all_shown=shown == "shown")
        )
        print(f"{name}: {trades} trades of {lots} lots, seed {seed}", flush=True)  # noqa: T201
        for state in reports[-1].states:
            print(line(state), flush=True)  # noqa: T201
    print(f"medians over {len(reports)} markets\n{medians(reports)}")  # noqa: T201


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:4]), *sys.argv[4:])
