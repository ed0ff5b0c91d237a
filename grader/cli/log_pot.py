"""``grader log``: gold of several lots that waits for one settlement."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from calibration.errors import UsageError
from grader.cli.log import log_app
from grader.cli.log_money import settlement
from grader.cli.log_options import DatedOptions, existing_log, number_or_name, say_line
from grader.cli.log_report import print_table
from grader.cli.options import with_options
from grader.cli.output import out
from grader.cli.questions import ask_first
from grader.learn.pot import NOTE, split_settlement, waiting_gold, waiting_gold_table
from grader.learn.questions import Asker


@log_app.command()
@with_options(DatedOptions)
def pot(
    lots: Annotated[
        list[str] | None, typer.Argument(help="Lots, by name or number. Default: all.", show_default=False)
    ] = None,
    payable: Annotated[
        str | None, typer.Option(help="Payable for all of it before charges: '910 EUR'. Shares out a settlement.")
    ] = None,
    charges: Annotated[str | None, typer.Option(help="What the refiner kept back: '24 EUR'. Default: none.")] = None,
    gold: Annotated[str | None, typer.Option(help="Gold delivered, as weighed. Default: all that waits.")] = None,
    refiner: Annotated[str, typer.Option(help="The refiner's name.")] = "",
    *,
    options: DatedOptions,
) -> None:
    """Gold that was weighed and waits for a settlement; with --payable, share one out to the lots.

    Each lot gets its part by the gold of it that waits; the parts add up to the cent.

    Example: grader log pot
    """
    opened = existing_log(options.log)
    contents = opened.contents()
    waiting = waiting_gold(contents)
    if lots:
        numbers = {opened.lot(number_or_name(lot)).id for lot in lots}
        waiting = tuple(each for each in waiting if each.lot_id in numbers)
    if not waiting:
        if payable is not None:
            raise UsageError(
                "pot-empty",
                "No gold of these lots waits for a settlement.",
                "Log the gold that was weighed first, or log the settlement for one lot.",
            )
        say_line("No gold waits for a settlement.")
        return
    if payable is None:
        print_table(waiting_gold_table(waiting))
        out.print(NOTE, markup=False)
        return
    entry = settlement(payable, charges, gold, refiner, options)
    ask_first(Asker(contents, date.today()).of_money(entry), yes=options.yes)
    names = {each.lot_id: each.name for each in waiting}
    for kept in opened.add_shares(split_settlement(entry, waiting)):
        say_line(f"Settlement {kept.id} of {names[kept.lot_id]}: {kept.amount} {kept.currency}.")
