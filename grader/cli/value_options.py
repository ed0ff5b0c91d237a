"""The options that say what a lot holds and what its gold is worth, for all commands that value one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import UsageError
from grader.bid import WorkBench, cuts_of_documents
from grader.bid.bench import VESSEL
from grader.cli.currency import base_figures, gold_price, meant, own_money
from grader.cli.log_options import day_of, existing_log, number_or_name
from grader.cli.questions import ask_first
from grader.grade import load_thresholds
from grader.lot import Lot, LotEstimate, lot_of, one_part, read_claim
from grader.lot_offer import LotOffer, asking_price, offer_for, typed_assumptions
from grader.measured import Measured, documents_in, measurements_of, read_measurements
from grader.places import process_folder
from grader.valuation import Assumptions
from grader.valuation.doubts import Doubt, price_doubts
from grader.valuation.lot_doubts import lot_doubts

MeasurementsArgument = Annotated[
    list[Path] | None, typer.Argument(help="Files that grader measure --json wrote.", show_default=False)
]
LotOption = Annotated[str | None, typer.Option(help="A lot of the log instead of files, by name or number.")]


@dataclass(frozen=True)
class ValueOptions:
    """The options about a lot and money; None if not given."""

    spot: Annotated[str | None, typer.Option(help="Gold price: '2650', '2650 USD/ozt' or '85 EUR/g'.")] = None
    spot_date: Annotated[str | None, typer.Option(help="The price's day: 2026-11-20; today if left out.")] = None
    payable: Annotated[
        str | None,
        typer.Option(
            help="Share of it that is paid: '93 %', '85..98 %', or by the gold in the lot: '0 g: 85 %; 20 g: 92 %'."
        ),
    ] = None
    recovery: Annotated[str | None, typer.Option(help="Gold recovered ÷ gold present: '85..94..99 %'.")] = None
    cost: Annotated[
        list[str] | None,
        typer.Option(
            help="A cost: '12 USD', 'refining = 5..20 USD', 'waste = 5 USD/l x 2..4 l'; "
            "or 'purchase: shipping = 15 USD', paid whatever you then do with the lot. Replaces all example costs."
        ),
    ] = None
    postage: Annotated[
        str | None,
        typer.Option(help="What sending the lot to you costs: '12 USD'. Replaces that example cost alone."),
    ] = None
    fee: Annotated[str | None, typer.Option(help="Marketplace's fee on the price: '5 %'.")] = None
    tax: Annotated[str | None, typer.Option(help="Tax on price and fee: '8.25 %'.")] = None
    hours: Annotated[str | None, typer.Option(help="Your own hours for stripping: '2..4 h'.")] = None
    rate: Annotated[str | None, typer.Option(help="What an hour of yours is worth: '15 USD/h'.")] = None
    weeks: Annotated[str | None, typer.Option(help="Time until the gold is sold: '6 weeks'.")] = None
    per_gram: Annotated[str | None, typer.Option(help="Refiner's charge for each gram of gold: '0.5..1 USD'.")] = None
    minimum: Annotated[str | None, typer.Option(help="Refiner's minimum charge: '50..150 USD'.")] = None
    lot_fee: Annotated[str | None, typer.Option(help="Refiner's fee for a lot: '50..100 USD'.")] = None
    assay: Annotated[str | None, typer.Option(help="What its assay costs: '30..80 USD'.")] = None
    treatment: Annotated[str | None, typer.Option(help="Refiner's charge by weight sent: '200 USD/kg'.")] = None
    melt_loss: Annotated[str | None, typer.Option(help="Share of the gold lost in melting: '0.5 %'.")] = None
    least_gold: Annotated[str | None, typer.Option(help="Below this gold nothing is settled: '10 g'.")] = None
    pot: Annotated[str | None, typer.Option(help="Gold of other lots that is settled with this one: '60 g'.")] = None
    interest: Annotated[
        str | None, typer.Option(help="Interest a year on your money until the gold is paid: '8 %'.")
    ] = None
    paid_at_once: Annotated[
        str | None, typer.Option(help="Share of the gold that the refiner pays at the settlement: '70 %'.")
    ] = None
    rest_after: Annotated[str | None, typer.Option(help="From then until the rest is paid: '4 weeks'.")] = None
    process: Annotated[
        str | None, typer.Option(help="Your process set of grader batch, for chemicals, waste and hours.")
    ] = None
    vessel: Annotated[str, typer.Option(help="Nominal volume of your vessel, as for grader batch.")] = VESSEL
    vessels: Annotated[int, typer.Option(min=1, help="How many stand side by side.")] = 1
    thresholds: Annotated[
        Path | None, typer.Option(help="Your file of grader grade, for your minutes at a board and a cut.")
    ] = None
    trim_price: Annotated[str | None, typer.Option(help="What trimmed pieces bring by weight: '40..90 USD/kg'.")] = (
        None
    )
    trim_share: Annotated[str | None, typer.Option(help="Their share of the boards' mass: '4..8..15 %'.")] = None
    whole_price: Annotated[str | None, typer.Option(help="What whole boards bring by weight: '5..9 USD/kg'.")] = None
    bodies_price: Annotated[
        str | None, typer.Option(help="What is left of the boards after trimming brings by weight: '1..3 USD/kg'.")
    ] = None
    asking: Annotated[
        str | None,
        typer.Option(help="The seller's price: '120 USD', '8 USD/kg', '5 USD/lb' or '2 USD/board'."),
    ] = None
    accept_loss: Annotated[str | None, typer.Option(help="Chance of a loss that you accept: '10 %'.")] = None
    earlier_bids: Annotated[
        str | None,
        typer.Option(
            help="Accept that chance over a month of bids instead of each lot: the chances of a loss of the lots won "
            "so far, '2 %, 15 %'; '' at the first."
        ),
    ] = None
    share_of_gains: Annotated[
        str | None,
        typer.Option(
            help="Let the highest price go by many lots instead of this one's chance of a loss: losing lots may take "
            "this share of what winning ones bring, '25 %'."
        ),
    ] = None
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
            help="How many boards each photo shows: once for all, or once for each photo. Default: what their "
            "outlines tell, with its doubt."
        ),
    ] = None
    count: Annotated[str | None, typer.Option(help="How many boards the lot holds: '30' or '28..32'.")] = None
    mass: Annotated[str | None, typer.Option(help="Its stated mass, instead of a count: '5 kg'.")] = None
    weighed: Annotated[
        list[str] | None, typer.Option(help="What the boards in each photo weigh, once for each photo: '72 g'.")
    ] = None
    other_face: Annotated[
        str | None, typer.Option(help="Faces that no photo shows: 'alike' or 'left out'. Default: 'left out'.")
    ] = None
    kind: Annotated[
        str | None,
        typer.Option(
            help="Kind of boards: 'memory modules', 'cheap consumer cards', …; 'do not know' if you do not."
        ),
    ] = None
    designs: Annotated[
        str | None,
        typer.Option(help="Whether they are of 'one' design or of 'many', whose plating evens out. Default: 'one'."),
    ] = None
    picked: Annotated[
        str | None,
        typer.Option(help="Who chose the boards in the photos: 'seller', 'blindly' or 'mine'. Default: not said."),
    ] = None
    thickness: Annotated[
        list[str] | None,
        typer.Option(
            help="What is known of the plating: 'stated 30 uin', 'xrf 0.72 ± 0.05 um', 'strip 412 mg of 20 boards'."
        ),
    ] = None
    parts: Annotated[Path | None, typer.Option(help="A file with several parts; see docs/buying.md.")] = None
    listing: Annotated[
        Path | None,
        typer.Option(
            help="A file with the listing's text, as copied (- reads it from the standard input). Weight or number, "
            "kind of boards, price and postage that you did not give are taken from it, and it is said from which "
            "words."
        ),
    ] = None
    yes: Annotated[bool, typer.Option("--yes", help="Accept figures that look wrong, without asking.")] = False

    def figures(self) -> Assumptions:
        """The assumptions about prices and costs.

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

        spot = gold_price(self.spot, self.assumptions, money)
        return typed_assumptions(
            base_figures(self.assumptions, money, (spot, *(self.cost or ()))),
            spot=spot,
            spot_date=day_of(self.spot_date) if spot or self.spot_date else None,
            payable=self.payable,
            recovery=self.recovery,
            costs=self.cost,
            postage=own(self.postage),
            fee=self.fee,
            tax=self.tax,
            hours=self.hours,
            rate=own(self.rate),
            accepted_loss=self.accept_loss,
            earlier_bids=self.earlier_bids,
            share_of_gains=self.share_of_gains,
            weeks=self.weeks,
            per_gram=own(self.per_gram),
            minimum=own(self.minimum),
            trim_price=own(self.trim_price),
            trim_share=self.trim_share,
            whole_price=own(self.whole_price),
            bodies_price=own(self.bodies_price),
            lot_fee=own(self.lot_fee),
            assay=own(self.assay),
            treatment=own(self.treatment),
            melt_loss=self.melt_loss,
            least_gold=self.least_gold,
            pot=self.pot,
            interest=self.interest,
            paid_at_once=self.paid_at_once,
            rest_after=self.rest_after,
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
                kind=self.kind or "",
                designs=self.designs or "",
                picked=self.picked or "",
                thickness=self.thickness or (),
            )
        of_one = self.boards or self.count or self.mass or self.weighed or self.other_face
        if of_one or self.kind or self.designs or self.picked or self.thickness:
            raise UsageError(
                "parts-and-options",
                "Both a file of parts and options for one part were given.",
                "Give one or the other.",
            )
        return lot_of(read_claim(self.parts), measured)

    def bench(self) -> WorkBench:
        """Whoever values has this process, vessel and times.

        Raises:
            UsageError, DataFileError: as ``WorkBench.of`` and ``load_thresholds``.
        """
        times = None if self.thresholds is None else load_thresholds(self.thresholds)
        return WorkBench.of(self.process, process_folder(), self.vessel, times, self.vessels)

    def offer(
        self, estimate: LotEstimate, figures: Assumptions, measured: Sequence[Measured], cut: Sequence[Path] = ()
    ) -> LotOffer:
        """What to pay for a lot.

        Args:
            estimate: of it.
            figures: of money.
            measured: its photos.
            cut: files that ``grader cut --json`` wrote for them.

        Raises:
            UsageError: a figure that cannot be read, or that is doubted; or as ``cuts_of_documents``.
            DataFileError: a file cannot be read.
        """
        asking = asking_price(meant(self.asking, own_money().or_else(figures.currency)))
        _ask(lot_doubts(estimate, figures, asking), yes=self.yes)
        cuts = cuts_of_documents([d for path in cut for d in documents_in(path)], measured)
        return offer_for(estimate, figures, asking, self.bench(), cuts)


def _ask(doubts: Sequence[Doubt], *, yes: bool) -> None:
    ask_first([doubt.notice for doubt in doubts], yes=yes, undone="")


def measured_in(paths: Sequence[Path], lot: str | None, log: str | None) -> list[Measured]:
    """Measurements that can be valued, from files or from a lot of the log.

    Raises:
        UsageError: ``two-sources``, ``measurements-none``, or as ``measurements_of``.
        DataFileError: a file cannot be read, or as ``measurements_of``.
    """
    if paths and lot is not None:
        raise UsageError("two-sources", "Both files and a lot were given.", "Give one or the other.")
    if lot is not None:
        with existing_log(log) as opened:
            estimates = opened.entries(number_or_name(lot)).latest_estimates()
        return measurements_of((f"lot {lot}, estimate {e.id}", e.document) for e in estimates)
    if not paths:
        raise UsageError(
            "measurements-none",
            "There is no measurement to value.",
            "Give a file that grader measure PHOTO --json FILE wrote, or a lot of the log (--lot).",
        )
    return read_measurements(paths)
