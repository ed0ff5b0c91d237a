"""Values a lot whose photos were measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from calibration.errors import UsageError
from grader.keywords import checks_call, each_typed, typed, whole_numbers
from grader.lot import Lot, PartText, estimate_lot, lot_of, one_part, read_claim
from grader.lot_offer import LotOffer, asking_price, offer_for, typed_assumptions
from grader.measured import Measured, documents_in, usable
from grader.measured_photo import MeasuredPhoto
from grader.units import parse_day
from grader.valuation import Assumptions
from grader.valuation.doubts import Doubt, price_doubts
from grader.valuation.lot_doubts import lot_doubts

Measurements = MeasuredPhoto | str | Path | Sequence[MeasuredPhoto | str | Path]


@checks_call
def value(
    photos: Measurements,
    *,
    backs: Measurements | None = None,
    boards: int | Sequence[int] | None = None,
    count: int | str | None = None,
    mass: str | None = None,
    weighed: str | Sequence[str] | None = None,
    other_face: str | None = None,
    kind: str | None = None,
    designs: str | None = None,
    picked: str | None = None,
    thickness: str | Sequence[str] | None = None,
    parts: str | Path | Sequence[PartText] | None = None,
    spot: str | None = None,
    spot_date: date | str | None = None,
    asking: str | None = None,
    costs: str | Sequence[str] | None = None,
    payable: str | None = None,
    recovery: str | None = None,
    postage: str | None = None,
    fee: str | None = None,
    tax: str | None = None,
    hours: str | None = None,
    rate: str | None = None,
    weeks: str | None = None,
    per_gram: str | None = None,
    minimum: str | None = None,
    lot_fee: str | None = None,
    assay: str | None = None,
    treatment: str | None = None,
    melt_loss: str | None = None,
    least_gold: str | None = None,
    pot: str | None = None,
    interest: str | None = None,
    paid_at_once: str | None = None,
    rest_after: str | None = None,
    trim_price: str | None = None,
    trim_share: str | None = None,
    whole_price: str | None = None,
    bodies_price: str | None = None,
    accept_loss: str | None = None,
    earlier_bids: str | None = None,
    share_of_gains: str | None = None,
    assumptions: Assumptions | str | Path | None = None,
    take_as_is: bool = False,
) -> LotOffer:
    """What to pay for a lot whose photos were measured: break-even, chance of a loss, highest price worth paying.

    Args:
        photos: one or several measured photos, or files written by ``save`` or ``grader measure --json``.
        backs: photos of the other face of the same boards, one for each of ``photos``, in the same order.
        boards: number of boards in each photo, one number for all or one for each; counted by outline if left out.
        count: number of boards in the lot, 30 or "28..32"; those in the photos if left out.
        mass: stated mass of the lot, "5 kg", instead of a count.
        weighed: mass of the boards in each photo, one for each photo, "72 g".
        other_face: faces that no photo shows: "alike", or "left out" if not said.
        kind: of boards, "memory modules", "cheap consumer cards"; "do not know" is an answer too.
        designs: "one" if all boards are plated alike, "many" for a mixture of designs; "one" if left out.
        picked: who chose the boards in the photos: "seller", "blindly", "mine"; not known if left out.
        thickness: evidence of the plating: "stated 30 uin", "xrf 0.72 ± 0.05 um", "strip 412 mg of 20 boards".
        parts: several kinds of boards instead of the above, as ``grader.lot.PartText`` or in a TOML file.
        spot: gold price, "2650 USD/ozt" or "85 EUR/g". All amounts are in its currency.
        spot_date: its day, "2026-11-20"; today if left out.
        asking: the seller's price, "120 USD".
        costs: "12 USD", "refining = 5..20 USD", "waste = 5 USD/l x 2..4 l"; or "purchase: shipping = 15 USD", due
            with the purchase, whatever you do with the lot. They replace all example costs.
        payable: share of the gold price that you are paid, "93 %", "85..98 %", or by lot "0 g: 85 %; 20 g: 92 %".
        recovery: gold recovered ÷ gold present, "85..94..99 %".
        postage: cost of sending the lot to you, "12 USD"; replaces only that example cost.
        fee: marketplace's fee on the price, "5 %".
        tax: on price and fee, "8.25 %".
        hours: your own time for stripping, "2..4 h".
        rate: value of an hour of your time, "15 USD/h".
        weeks: until the gold is sold, "6 weeks".
        per_gram: refiner's charge per gram of gold, "0.5..1 USD".
        minimum: refiner's minimum charge, "50..150 USD".
        lot_fee: refiner's fee for a lot, "50..100 USD".
        assay: what its assay costs, "30..80 USD".
        treatment: refiner's charge by weight sent, "200 USD/kg".
        melt_loss: share of the gold lost in melting, "0.5 %".
        least_gold: below which nothing is settled, "10 g".
        pot: gold of other lots that is settled with this one, "60 g".
        interest: a year on your money until the gold is paid, "8 %".
        paid_at_once: share of the gold that the refiner pays at the settlement, "70 %".
        rest_after: from then until the rest is paid, "4 weeks".
        trim_price: price of trimmed pieces by weight, "40..90 USD/kg".
        trim_share: share of the boards' mass that is trimmed off, "4..8..15 %".
        whole_price: price of whole boards by weight, "5..9 USD/kg".
        bodies_price: price of trimmed boards by weight, "1..3 USD/kg".
        accept_loss: chance of a loss that you accept, "10 %".
        earlier_bids: spread that chance over a month: chances of a loss of the lots won so far, "2 %, 15 %".
        share_of_gains: set the highest price for a buyer of many lots: losing lots may take this share of what
            winning ones bring, "25 %".
        assumptions: your figures, as a file, the name of a set, or loaded; the shipped examples if left out.
        take_as_is: accept figures that look wrong; otherwise they raise an error.

    Raises:
        RefusedError: a photo has no scale, so its gold is unknown.
        UsageError: a figure that cannot be read or that looks wrong; ``KeywordError`` for a keyword that there is
            not.
        DataFileError: a given file cannot be read.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> done = grader.measure(samples_folder() / "memory-modules.jpg")
        >>> offer = grader.value(done, boards=4, count=400, spot="2650 USD/ozt", costs="30..60 USD")
        >>> offer.highest_price.currency, float(offer.highest_price.amount) < offer.break_even
        ('USD', True)
        >>> try:
        ...     grader.value(done, boards=4, mass="5", spot="2650 USD/ozt")
        ... except grader.GraderError as error:
        ...     print(error.code)
        unit-missing
    """
    fronts, others = _photos(photos), _photos(backs)
    figures = typed_assumptions(
        assumptions,
        spot=typed("spot", spot),
        spot_date=_day(spot, spot_date),
        costs=each_typed("costs", costs),
        **_typed(
            postage=postage, payable=payable, recovery=recovery, fee=fee, tax=tax, hours=hours, rate=rate,
            weeks=weeks, per_gram=per_gram, minimum=minimum, lot_fee=lot_fee, assay=assay, treatment=treatment,
            melt_loss=melt_loss, least_gold=least_gold, pot=pot, interest=interest, paid_at_once=paid_at_once,
            rest_after=rest_after, trim_price=trim_price, trim_share=trim_share,
            whole_price=whole_price, bodies_price=bodies_price, accepted_loss=accept_loss,
            earlier_bids=earlier_bids, share_of_gains=share_of_gains,
        ),
    )  # fmt: skip
    if parts is None:
        lot = one_part(
            _measured(fronts),
            backs=_measured(others) if others else (),
            boards=whole_numbers("boards", boards),
            count=typed("count", count) or "",
            mass=typed("mass", mass) or "",
            weighed=each_typed("weighed", weighed),
            other_face=typed("other_face", other_face) or "left out",
            kind=typed("kind", kind) or "",
            designs=typed("designs", designs) or "",
            picked=typed("picked", picked) or "",
            thickness=each_typed("thickness", thickness),
        )
    elif any(
        x is not None for x in (backs, boards, count, mass, weighed, other_face, kind, designs, picked, thickness)
    ):
        raise UsageError(
            "parts-and-options",
            "Both parts and keywords that describe a single part were given.",
            "Give one or the other.",
        )
    else:
        lot = _lot_of_parts(parts, _measured(fronts))
    asked, estimate = asking_price(typed("asking", asking)), estimate_lot(lot)
    if not take_as_is:
        _refuse((*price_doubts(figures), *lot_doubts(estimate, figures, asked)))
    return replace(offer_for(estimate, figures, asked), photos=(*fronts, *others))


def _photos(given: Measurements | None) -> list[MeasuredPhoto]:
    several = given if isinstance(given, Sequence) and not isinstance(given, str) else [given]
    return [] if given is None else [photo for one in several for photo in _photos_in(one)]


def _photos_in(one: object) -> list[MeasuredPhoto]:
    match one:
        case MeasuredPhoto():
            if one.refused is not None:
                raise one.refused
            return [one]
        case str() | Path():
            return [MeasuredPhoto.from_dict(document) for document in documents_in(Path(one))]
    raise UsageError(
        "measurement-unknown-kind",
        f"A {type(one).__name__} is not a measurement.",
        "Give what grader.measure or grader.load_measurement returned, or a file that holds measurements.",
    )


def _measured(photos: Sequence[MeasuredPhoto]) -> list[Measured]:
    return usable((f"photo {number}", photo.record) for number, photo in enumerate(photos, 1))


def _lot_of_parts(parts: str | Path | Sequence[PartText], measured: Sequence[Measured]) -> Lot:
    return lot_of(read_claim(Path(parts)) if isinstance(parts, str | Path) else parts, measured)


def _typed(**given: str | None) -> dict[str, str | None]:
    return {name: typed(name, text) for name, text in given.items()}


def _day(spot: str | None, spot_date: date | str | None) -> date | None:
    """The day of the gold price; today if a price was given without a date."""
    if spot_date is None:
        return None if spot is None else date.today()
    return parse_day(spot_date) if isinstance(spot_date, str) else spot_date


def _refuse(doubts: Sequence[Doubt]) -> None:
    for doubt in doubts:
        raise UsageError(
            doubt.code, doubt.message, f"{doubt.advice} If it is right as it stands, add take_as_is=True."
        )
