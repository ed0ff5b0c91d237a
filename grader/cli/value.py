"""``grader value``: from measurements to the most to pay."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import UsageError
from grader.cli.listing_text import with_listing
from grader.cli.log_options import LogOption, existing_log, number_or_name
from grader.cli.options import with_options
from grader.cli.output import is_stdout, out, write_data, write_json
from grader.cli.value_options import LotOption, MeasurementsArgument, ValueOptions, measured_in
from grader.cli.value_report import show_offer
from grader.lot import Lot, estimate_lot
from grader.valuation import example_text


@with_options(ValueOptions)
def value(
    options: ValueOptions,
    measurements: MeasurementsArgument = None,
    lot: LotOption = None,
    log: LogOption = None,
    save: Annotated[bool, typer.Option("--save", help="With --lot: keep the offer in the log.")] = False,
    cut: Annotated[
        list[Path] | None,
        typer.Option(help="File that grader cut --json wrote: its cuts, pieces and minutes are charged."),
    ] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the offer here (- prints it).")] = None,
    example: Annotated[bool, typer.Option("--example", help="Print the example file of assumptions.")] = False,
) -> None:
    """What to pay for the boards in some measurements: break-even, chance of a loss, highest price worth paying.

    Example: grader value boards.json --spot "2650 USD/ozt" --asking "120 USD"

    Example: grader value boards.json --boards 4 --count 400 --spot "2650 USD/ozt" --json offer.json
    """
    if example:
        write_data(example_text())
        return
    if save and lot is None:
        raise UsageError(
            "save-without-lot", "An offer can be saved only for a lot in the log.", "Name it with --lot."
        )
    options = with_listing(options)
    figures = options.figures()
    measured = measured_in(measurements or [], lot, log)
    described = options.lot(measured)
    if lot is not None:
        described = _by_its_seller(described, lot, log)
    offer = options.offer(estimate_lot(described), figures, measured, cut or ())
    if json_out is not None:
        write_json(json_out, offer.as_json())
    if save and lot is not None:
        with existing_log(log) as opened:
            opened.add_offer(number_or_name(lot), offer.as_json())
    if not is_stdout(json_out):
        show_offer(offer)
        if cut:
            out.print("Cuts, pieces and minutes are those of the cut plan.")


def _by_its_seller(described: Lot, lot: str, log: str | None) -> Lot:
    """The lot, with what weighed lots taught of its seller's choice of boards to show."""
    from grader.learn import newest_in
    from grader.learn.choice import with_learned_choice

    with existing_log(log) as opened:
        known = opened.entries(number_or_name(lot))
        return with_learned_choice(described, newest_in(opened), known.lots[0].seller, known.lots[0].part)
