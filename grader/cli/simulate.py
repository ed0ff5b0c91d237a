"""``grader simulate``: whether buying by this tool makes money."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from calibration.scores import Share
from grader.cli.output import err, is_stdout, out, show_table, write_json
from grader.places import assumptions_folder
from grader.simulate import SimulationReport, World, simulate
from grader.units import format_money, format_share
from grader.value import load_set, with_given


def simulate_command(
    lots: Annotated[int, typer.Option(help="How many lots are invented.")] = 1000,
    seed: Annotated[int, typer.Option(help="The same seed gives the same lots.")] = 1,
    learned: Annotated[
        bool, typer.Option("--learned", help="Yields of each part have taught its plating's thickness.")
    ] = False,
    sellers_know: Annotated[
        bool, typer.Option("--sellers-know", help="Asking prices go with what a lot truly brings, thickness and all.")
    ] = False,
    spot: Annotated[str, typer.Option(help="Gold price.")] = "2650 USD/ozt",
    accept_loss: Annotated[str | None, typer.Option(help="Chance of a loss that is accepted: '10 %'.")] = None,
    assumptions: Annotated[str | None, typer.Option(help="Your figures: a file, or the name of a set.")] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the result here (- prints it).")] = None,
) -> None:
    """Offer invented lots with known truth, noisy photos and asking prices to buyers who decide in different ways.

    Example: grader simulate --lots 1000 --seed 1
    """
    given = with_given(
        load_set(assumptions, assumptions_folder()), spot=spot, spot_date=date.today(), accepted_loss=accept_loss
    )
    world = World(given, learned, sellers_know)
    if err.is_terminal:
        with err.status("inventing lots …") as status:
            report = simulate(world, lots, seed, lambda n: status.update(f"lot {n} of {lots}"))
    else:
        report = simulate(world, lots, seed)
    if json_out is not None:
        write_json(json_out, {**report.as_json(), "learned": learned, "sellers_know": sellers_know})
    if not is_stdout(json_out):
        _show(report, given.currency)


def _show(report: SimulationReport, currency: str) -> None:
    out.print(f"[bold]{report.lots} invented lots, seed {report.seed}[/]")
    columns = ("Buyer", "Bought", "Profit", "Of the oracle's", "Buys that lost", "Left on the table, a lot")
    rows = [
        (
            b.buyer,
            str(b.bought),
            format_money(b.profit, currency, max(abs(b.profit) / 20, 10)),
            "" if b.share_of_oracle is None else f"{b.share_of_oracle * 100:.0f} %",
            _share(b.losing),
            format_money(b.regret, currency),
        )
        for b in report.buyers
    ]
    show_table(columns, rows, right=range(1, len(columns)))
    out.print()
    accepted = format_share(report.accepted_loss)
    out.print(f"True gold inside the 90 % range: {_share(report.in_range)}", markup=False)
    out.print(f"Lots that lose at the tool's own highest price: {_share(report.loss_at_highest)}", markup=False)
    out.print(f"(accepted: {accepted}). The buyer by weight pays up to {report.rate_per_kg:.2f} {currency}/kg.")
    out.print()
    out.print(
        "Truth is drawn from the tool's own beliefs: this shows what its decisions are worth where those are right, "
        "not whether they are."
    )


def _share(known: Share | None) -> str:
    if known is None:
        return ""
    return f"{format_share(known.value)} ({known.low * 100:.0f} to {known.high * 100:.0f} %)"
