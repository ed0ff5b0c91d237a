"""``grader simulate``: whether buying by this tool makes money."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from functools import partial
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from calibration.errors import UsageError
from calibration.scores import HitRate
from grader.cli.output import err, is_stdout, out, show_table, write_json
from grader.places import assumptions_folder
from grader.simulate import (
    BuyerReport,
    LearningReport,
    SimulationReport,
    World,
    market_named,
    markets,
    simulate,
    simulate_learning,
    simulate_market,
)
from grader.units import format_money, format_share
from grader.valuation import Assumptions, load_set, with_given

_Report = TypeVar("_Report")


def simulate_command(
    lots: Annotated[
        int | None, typer.Option(help="How many lots to invent. Default: 1000, or 40 in each trade.")
    ] = None,
    seed: Annotated[int, typer.Option(help="The same seed gives the same lots.")] = 1,
    learned: Annotated[
        bool, typer.Option("--learned", help="Yields of each part have taught its plating's thickness.")
    ] = False,
    trades: Annotated[
        int | None,
        typer.Option(help="Buyers learn from what they weigh, over this many trades that share kinds and sellers."),
    ] = None,
    sellers_know: Annotated[
        bool,
        typer.Option("--sellers-know", help="Asking prices follow what a lot will really bring, thickness included."),
    ] = False,
    market: Annotated[
        str | None,
        typer.Option(
            help="Another market: what is offered there, bought untaught and after six weighed lots. "
            "One name, several with commas, or all.",
            show_default=False,
        ),
    ] = None,
    spot: Annotated[str, typer.Option(help="Gold price.")] = "2650 USD/ozt",
    accept_loss: Annotated[str | None, typer.Option(help="Chance of a loss that is accepted: '10 %'.")] = None,
    assumptions: Annotated[str | None, typer.Option(help="Your figures: a file, or the name of a set.")] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the result here (- prints it).")] = None,
) -> None:
    """Offer invented lots with known truth, noisy photos and asking prices to buyers who decide in different ways.

    Example: grader simulate --lots 1000 --seed 1

    Example: grader simulate --trades 20 --lots 40

    Example: grader simulate --market priors,picking --trades 60 --lots 2
    """
    if learned and trades is not None:
        raise UsageError(
            "options-exclude", "--learned and --trades cannot go together.", "In trades, buyers learn on their own."
        )
    given = with_given(
        load_set(assumptions, assumptions_folder()), spot=spot, spot_date=date.today(), accepted_loss=accept_loss
    )
    if market is not None:
        if learned or sellers_know:
            raise UsageError(
                "options-exclude",
                "--market goes with neither --learned nor --sellers-know.",
                "A market shows buyers both before and after they weighed lots.",
            )
        _markets(given, market, trades or _TRADES, lots or _LOTS, seed, json_out)
        return
    world = World(given, learned, sellers_know)
    report: SimulationReport | LearningReport
    if trades is None:
        count = 1000 if lots is None else lots
        report = _watched(lambda told: simulate(world, count, seed, told), f"lot {{}} of {count}")
    else:
        each = 40 if lots is None else lots
        report = _watched(lambda told: simulate_learning(world, trades, each, seed, told), f"trade {{}} of {trades}")
    if json_out is not None:
        write_json(json_out, {**report.as_json(), "learned": learned, "sellers_know": sellers_know})
    if is_stdout(json_out):
        return
    if isinstance(report, SimulationReport):
        _show(report, given.currency)
    else:
        _show_learning(report, given.currency)
    out.print()
    out.print(
        "Truth is drawn from the tool's own beliefs: this shows what its decisions are worth where those are right, "
        "not whether they are."
    )


_TRADES, _LOTS = 60, 2  # of a market, unless said otherwise


def _markets(given: Assumptions, names: str, trades: int, lots: int, seed: int, json_out: Path | None) -> None:
    chosen = list(markets()) if names.strip() == "all" else [n.strip() for n in names.split(",")]
    found = [market_named(name) for name in chosen]
    reports = []
    for each in found:
        run = partial(simulate_market, given, each, trades, lots, seed)
        reports.append(_watched(run, f"{each.name}: trade {{}} of {trades}"))
    if json_out is not None:
        write_json(json_out, {"schema": 1, "markets": [r.as_json() for r in reports]})
    if is_stdout(json_out):
        return
    for report in reports:
        out.print(f"[bold]{report.market.title}[/]: {trades} trades of {lots} lots, seed {seed}", highlight=False)
        rows = []
        for state in report.states:
            of_oracle = [_part(b.share_of_oracle) for b in state.buyers[:-1]]
            lost = _part(state.buyers[2].lost_of_gains)
            rows.append((state.name, _share(state.loss_at_highest), *of_oracle, lost, _share(state.in_range)))
        show_table(_MARKET_HEADS, rows, right=range(1, len(_MARKET_HEADS)))
        out.print()
    accepted, share = format_share(given.accepted_loss), format_share(given.over_many.share)
    out.print(f"Accepted chance of a loss: {accepted}. Over many lots losses may take {share} of the gains.")


_MARKET_HEADS = (
    "Buyers",
    "Would lose at the highest price",
    "Highest price earns of the oracle's",
    "That chance over many lots",
    "Price over many lots",
    "Break-even",
    "Lost of gains over many lots",
    "Gold in the range",
)


def _watched(run: Callable[[Callable[[int], None] | None], _Report], where: str) -> _Report:
    """Run it; on a terminal say how far it is."""
    if not err.is_terminal:
        return run(None)
    with err.status("inventing lots …") as status:
        return run(lambda n: status.update(where.format(n)))


def _show(report: SimulationReport, currency: str) -> None:
    out.print(f"[bold]{report.lots} invented lots, seed {report.seed}[/]")
    _table(report.buyers, currency)
    out.print()
    out.print(f"True gold inside the 90 % range: {_share(report.in_range)}", markup=False)
    out.print(f"Accepted chance of a loss: {format_share(report.accepted_loss)}.")
    out.print(f"The buyer by weight pays up to {report.rate_per_kg:.2f} {currency}/kg.")


def _show_learning(report: LearningReport, currency: str) -> None:
    out.print(f"[bold]{report.trades} invented trades of {report.lots} lots, seed {report.seed}[/]")
    _table(report.whole.buyers, currency, tests=True)
    for stage in report.stages:
        out.print()
        out.print(f"[bold]Lots {stage.first} to {stage.last} of each trade[/]")
        _table(stage.buyers, currency, tests=True)
    out.print()
    out.print(f"Gold inside the 90 % range: {_share(report.in_range)}", markup=False)
    out.print(f"Accepted chance of a loss: {format_share(report.accepted_loss)}.")
    out.print("Tests: lots of which a few boards were bought, stripped and weighed first; the profit has paid them.")


def _table(buyers: Iterable[BuyerReport], currency: str, *, tests: bool = False) -> None:
    columns = ("Buyer", "Bought", "Tests", "Profit", "Of the oracle's", "Buys that lost", "Would lose at own limit")
    rows = [
        (
            b.buyer,
            str(b.bought),
            str(b.tests),
            format_money(b.profit, currency, max(abs(b.profit) / 20, 10)),
            _part(b.share_of_oracle),
            _share(b.losing),
            _share(b.loss_at_limit),
        )
        for b in buyers
    ]
    kept = [n for n, column in enumerate(columns) if tests or column != "Tests"]
    shown = [tuple(row[n] for n in kept) for row in (columns, *rows)]
    show_table(shown[0], shown[1:], right=range(1, len(kept)))


def _part(known: float | None) -> str:
    return "" if known is None else f"{known * 100:.0f} %"


def _share(known: HitRate | None) -> str:
    if known is None:
        return ""
    return f"{format_share(known.value)} ({known.low * 100:.0f} to {known.high * 100:.0f} %)"
