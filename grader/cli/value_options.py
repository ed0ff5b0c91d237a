"""The options that say what a lot holds and what its gold is worth, for all commands that value one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from calibration.errors import UsageError
from grader.cli.currency import figures_of, meant, own_money
from grader.cli.log import day_of, existing_log, lot_key
from grader.cli.questions import ask_first
from grader.lot import Lot, LotEstimate, lot_of, one_part, read_claim
from grader.lot.doubts import lot_doubts
from grader.units import parse_money
from grader.valuation import Assumptions, Measured, Offer, value_lot, with_given
from grader.valuation.doubts import Doubt, price_doubts
from grader.valuation.estimates import named
from grader.valuation.given_sales import SaleTexts
from grader.valuation.measured import documents_in

MeasurementsArgument = Annotated[
    list[Path] | None, typer.Argument(help="Files that grader measure --json wrote.", show_default=False)
]
LotOption = Annotated[str | None, typer.Option(help="A lot of the log instead of files, by name or number.")]


@dataclass(frozen=True)
class ValueOptions:
    """What a person says of a lot and of money; None where nothing was said."""

    spot: Annotated[str | None, typer.Option(help="Gold price, such as '2650 USD/ozt' or '85 EUR/g'.")] = None
    spot_date: Annotated[str | None, typer.Option(help="Day of the gold price: 2026-11-20, or today.")] = None
    payable: Annotated[str | None, typer.Option(help="Share of it that is paid: '93 %' or '85..98 %'.")] = None
    recovery: Annotated[str | None, typer.Option(help="Gold recovered ÷ gold present: '85..94..99 %'.")] = None
    cost: Annotated[
        list[str] | None,
        typer.Option(
            help="A cost: '12 USD', 'refining = 5..20 USD', 'waste = 5 USD/l x 2..4 l'; "
            "or 'purchase: shipping = 15 USD', paid whatever you then do with the lot. Replaces all example costs."
        ),
    ] = None
    fee: Annotated[str | None, typer.Option(help="Marketplace's fee on the price: '5 %'.")] = None
    tax: Annotated[str | None, typer.Option(help="Tax on price and fee: '8.25 %'.")] = None
    hours: Annotated[str | None, typer.Option(help="Your own hours for stripping: '2..4 h'.")] = None
    rate: Annotated[str | None, typer.Option(help="What an hour of yours is worth: '15 USD/h'.")] = None
    weeks: Annotated[str | None, typer.Option(help="Time until the gold is sold: '6 weeks'.")] = None
    per_gram: Annotated[str | None, typer.Option(help="Refiner's charge for each gram of gold: '0.5..1 USD'.")] = None
    minimum: Annotated[str | None, typer.Option(help="Refiner's least charge: '50..150 USD'.")] = None
    trim_price: Annotated[str | None, typer.Option(help="What trimmed pieces bring by weight: '40..90 USD/kg'.")] = (
        None
    )
    trim_share: Annotated[str | None, typer.Option(help="Their share of the boards' mass: '4..8..15 %'.")] = None
    whole_price: Annotated[str | None, typer.Option(help="What whole boards bring by weight: '5..9 USD/kg'.")] = None
    asking: Annotated[str | None, typer.Option(help="The seller's price: '120 USD'.")] = None
    accept_loss: Annotated[str | None, typer.Option(help="Chance of a loss that you accept: '10 %'.")] = None
    assumptions: Annotated[
        str | None,
        typer.Option(help="Your figures: a file, or the name of a set; see grader value --example."),
    ] = None
    exchange: Annotated[
        str | None,
        typer.Option(
            help="What a currency costs in yours, for this time: '1 USD = 0.92 EUR'; grader currency keeps one."
        ),
    ] = None
    boards: Annotated[
        list[int] | None,
        typer.Option(
            help="How many boards each photo shows; once for all, or once for each photo; else what their "
            "outlines tell, with its doubt."
        ),
    ] = None
    count: Annotated[str | None, typer.Option(help="How many boards the lot holds: '30' or '28..32'.")] = None
    mass: Annotated[str | None, typer.Option(help="Its stated mass, instead of a count: '5 kg'.")] = None
    weighed: Annotated[
        list[str] | None, typer.Option(help="What the boards in each photo weigh, once for each photo: '72 g'.")
    ] = None
    other_face: Annotated[
        str | None, typer.Option(help="Faces that no photo shows: 'alike', or 'left out' if not said.")
    ] = None
    parts: Annotated[Path | None, typer.Option(help="A file that says this for several parts; see README.md.")] = None
    yes: Annotated[bool, typer.Option("--yes", help="Take figures that look wrong as they stand.")] = False

    def figures(self) -> Assumptions:
        """What is assumed of prices and costs.

        Raises:
            UsageError: an option that cannot be read; a gold price that is doubted.
        """
        figures = self._figures()
        _ask(price_doubts(figures), yes=self.yes)
        return figures

    def _figures(self) -> Assumptions:
        money = own_money(self.exchange)

        def own(text: str | None) -> str | None:
            return meant(text, money)

        sales = {
            "trim": SaleTexts(own(self.trim_price), self.trim_share),
            "whole": SaleTexts(own(self.whole_price)),
        }
        return with_given(
            figures_of(self.assumptions, money, (self.spot, *(self.cost or ()))),
            spot=own(self.spot),
            spot_date=None if self.spot_date is None else day_of(self.spot_date),
            payable=self.payable,
            recovery=self.recovery,
            costs=self.cost or None,
            fee=self.fee,
            tax=self.tax,
            hours=self.hours,
            rate=own(self.rate),
            accepted_loss=self.accept_loss,
            weeks=self.weeks,
            per_gram=own(self.per_gram),
            minimum=own(self.minimum),
            sales={name: texts for name, texts in sales.items() if texts != SaleTexts()} or None,
        )

    def lot(self, measured: Sequence[Measured]) -> Lot:
        """The lot that was described, of the photos that were measured.

        Raises:
            UsageError: ``parts-and-options``, or as ``lot_of``.
        """
        if self.parts is None:
            return one_part(
                measured,
                boards=self.boards or (),
                count=self.count or "",
                mass=self.mass or "",
                weighed=self.weighed or (),
                other_face=self.other_face or "left out",
            )
        if self.boards or self.count or self.mass or self.weighed or self.other_face:
            raise UsageError(
                "parts-and-options",
                "Both a file of parts and options for one part were given.",
                "Give one or the other.",
            )
        return lot_of(read_claim(self.parts), measured)

    def offer(self, estimate: LotEstimate, figures: Assumptions) -> Offer:
        """What to pay for a lot.

        Raises:
            UsageError: a figure that cannot be read, or that is doubted.
        """
        typed = meant(self.asking, own_money())
        asking = None if typed is None else named("asking price", parse_money, typed)
        _ask(lot_doubts(estimate, figures, asking), yes=self.yes)
        return value_lot(
            estimate.gold_mg,
            figures,
            today=date.today(),
            asking_price=asking,
            mass_g=estimate.mass_g,
            notices=estimate.notices,
            lot=estimate.as_json(),
        )


def _ask(doubts: Sequence[Doubt], *, yes: bool) -> None:
    ask_first([doubt.notice for doubt in doubts], yes=yes, undone="")


def documents_of(paths: Sequence[Path], lot: str | None, log: str | None) -> list[tuple[str, dict[str, Any]]]:
    """Measurements from files or from a lot of the log, each with where it comes from.

    Raises:
        UsageError: ``two-sources``, ``measurements-none``.
        DataFileError: a file cannot be read.
    """
    if paths and lot is not None:
        raise UsageError("two-sources", "Both files and a lot were given.", "Give one or the other.")
    if lot is not None:
        with existing_log(log) as opened:
            estimates = opened.entries(lot_key(lot)).latest_estimates()
        return [(f"lot {lot}, estimate {e.id}", dict(e.document)) for e in estimates]
    if not paths:
        raise UsageError(
            "measurements-none",
            "There is no measurement to value.",
            "Give a file that grader measure PHOTO --json FILE wrote, or a lot of the log (--lot).",
        )
    return [(path.name, dict(document)) for path in paths for document in documents_in(path)]
