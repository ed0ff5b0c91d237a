"""``grader value``: from measurements to the most to pay."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import UsageError
from grader.cli.output import as_json, out, write_whole
from grader.cli.value_report import show_offer
from grader.lot import estimate_lot, lot_of, one_part, read_claim
from grader.places import assumptions_folder
from grader.units import parse_money
from grader.value import (
    Measured,
    example_text,
    load_set,
    measurements_of,
    read_measurements,
    value_lot,
    with_given,
)
from grader.value.estimates import named

if TYPE_CHECKING:
    from grader.log import Log


def value(
    measurements: Annotated[
        list[Path] | None, typer.Argument(help="Files that grader measure --json wrote.", show_default=False)
    ] = None,
    lot: Annotated[str | None, typer.Option(help="Value this lot of the log, by name or number.")] = None,
    log: Annotated[
        str | None,
        typer.Option(help="The log: a file or postgresql://user@host/database; else the usual file."),
    ] = None,
    save: Annotated[bool, typer.Option("--save", help="With --lot: keep the offer in the log.")] = False,
    spot: Annotated[str | None, typer.Option(help="Gold price, such as '2650 USD/ozt' or '85 EUR/g'.")] = None,
    spot_date: Annotated[str | None, typer.Option(help="Day of the gold price: 2026-11-20, or today.")] = None,
    payable: Annotated[str | None, typer.Option(help="Share of it that is paid: '93 %' or '85..98 %'.")] = None,
    recovery: Annotated[str | None, typer.Option(help="Gold recovered ÷ gold present: '85..94..99 %'.")] = None,
    cost: Annotated[
        list[str] | None,
        typer.Option(
            help="A cost: '12 USD', 'refining = 5..20 USD', 'waste = 5 USD/l x 2..4 l'; "
            "or 'purchase: shipping = 15 USD', paid whatever you then do with the lot. Replaces all example costs."
        ),
    ] = None,
    fee: Annotated[str | None, typer.Option(help="Marketplace's fee on the price: '5 %'.")] = None,
    tax: Annotated[str | None, typer.Option(help="Tax on price and fee: '8.25 %'.")] = None,
    hours: Annotated[str | None, typer.Option(help="Your own hours for stripping: '2..4 h'.")] = None,
    rate: Annotated[str | None, typer.Option(help="What an hour of yours is worth: '15 USD/h'.")] = None,
    asking: Annotated[str | None, typer.Option(help="The seller's price: '120 USD'.")] = None,
    accept_loss: Annotated[str | None, typer.Option(help="Chance of a loss that you accept: '10 %'.")] = None,
    assumptions: Annotated[
        str | None, typer.Option(help="Your figures: a file, or the name of a set; see --example.")
    ] = None,
    boards: Annotated[
        list[int] | None, typer.Option(help="How many boards each photo shows; once for all, or once for each photo.")
    ] = None,
    count: Annotated[str | None, typer.Option(help="How many boards the lot holds: '30' or '28..32'.")] = None,
    mass: Annotated[str | None, typer.Option(help="Its stated mass, instead of a count: '5 kg'.")] = None,
    weighed: Annotated[
        list[str] | None, typer.Option(help="What the boards in each photo weigh, once for each photo: '72 g'.")
    ] = None,
    other_face: Annotated[
        str | None, typer.Option(help="Faces that no photo shows: 'alike', or 'left out' if not said.")
    ] = None,
    parts: Annotated[
        Path | None, typer.Option(help="A file that says this for several parts; see README.md.")
    ] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Also write the offer as JSON.")] = None,
    example: Annotated[bool, typer.Option("--example", help="Print the example file of assumptions.")] = False,
) -> None:
    """What to pay for the boards in some measurements: break-even, chance of a loss, highest price worth paying.

    Example: grader value boards.json --spot "2650 USD/ozt" --spot-date today --asking "120 USD"
    """
    if example:
        out.print(example_text(), markup=False, end="")
        return
    given = with_given(
        load_set(assumptions, assumptions_folder()),
        spot=spot,
        spot_date=None if spot_date is None else _day(spot_date),
        payable=payable,
        recovery=recovery,
        costs=cost or None,
        fee=fee,
        tax=tax,
        hours=hours,
        rate=rate,
        accepted_loss=accept_loss,
    )
    price = None if asking is None else named("asking price", parse_money, asking)
    if save and lot is None:
        raise UsageError("save-without-lot", "Only a lot of the log can keep an offer.", "Name it with --lot.")
    measured = _measured(measurements or [], lot, log)
    if parts is not None and (boards or count or mass or weighed or other_face):
        raise UsageError(
            "parts-and-options", "Both a file of parts and options for one part were given.", "Give one or the other."
        )
    said = (
        lot_of(read_claim(parts), measured)
        if parts is not None
        else one_part(
            measured,
            boards=boards or (),
            count=count or "",
            mass=mass or "",
            weighed=weighed or (),
            other_face=other_face or "left out",
        )
    )
    estimate = estimate_lot(said)
    offer = value_lot(
        estimate.gold_mg,
        given,
        today=_today(),
        asking_price=price,
        mass_g=estimate.mass_g,
        notices=estimate.notices,
        lot=estimate.as_json(),
    )
    if json_out is not None:
        write_whole(json_out, as_json(offer.as_json()))
    if save and lot is not None:
        with _open(log) as opened:
            opened.add_offer(lot, offer.as_json())
    show_offer(offer)


def _measured(paths: list[Path], lot: str | None, log: str | None) -> list[Measured]:
    if paths and lot is not None:
        raise UsageError("two-sources", "Both files and a lot were given.", "Give one or the other.")
    if lot is not None:
        with _open(log) as opened:
            estimates = opened.entries(lot).latest_estimates()
        return measurements_of((f"lot {lot}, estimate {e.id}", e.document) for e in estimates)
    if not paths:
        raise UsageError(
            "measurements-none",
            "There is no measurement to value.",
            "Give a file that grader measure PHOTO --json FILE wrote, or a lot of the log (--lot).",
        )
    return read_measurements(paths)


def _open(path: str | None) -> Log:
    from grader.log import open_log

    return open_log(path, must_exist=True)


def _day(text: str) -> date:
    if text.strip().lower() == "today":
        return _today()
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(
            "date-unreadable", f"'{text}' is no date.", "Write it as year-month-day, such as 2026-11-20, or today."
        ) from error


def _today() -> date:
    return date.today()
