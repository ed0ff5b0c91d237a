"""Doubts about a new entry of the log, as data for the command line and the page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from math import isfinite
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import GraderError
from calibration.notices import Notice
from calibration.packaged import packaged_text
from calibration.sourced import SourcedValue, parse
from grader.learn.flags import UNIT_SLIPS
from grader.learn.lots import estimates_of, gold_model
from grader.learn.question_words import notice
from grader.learn.weighings import Weighing, weighings
from grader.log import (
    Contents,
    LoggedLot,
    NewAmount,
    NewCarryOver,
    NewLoad,
    NewMoney,
    NewPurchase,
    NewYield,
    Yield,
    YieldLot,
)
from grader.log.batch_model import BatchYield
from grader.model import Range
from grader.units import in_digits

_DRAWS = 10_000
_SAME_DIGITS = (1000.0, 1 / 1000, 10.0, 0.1)  # milligrams for grams, grams for milligrams, a decimal point
Questions = tuple[Notice, ...]


@cache
def limits() -> Mapping[str, SourcedValue]:
    """From where on entries are questioned, by name."""
    return parse(packaged_text("grader.learn", "data/questions.toml"), "questions")


class Asker:
    """Asks about entries before they are kept. What the photos let expect is drawn once a lot.

    Args:
        contents: the log as it is.
        today: the day of the user's calendar.
    """

    def __init__(self, contents: Contents, today: date) -> None:
        self.contents = contents
        self.today = today
        self._drawn: dict[int, FloatArray | None] = {}

    def of_yield(self, new: NewYield, lots: Mapping[int, float], *, corrects: int | None = None) -> Questions:
        """About gold that was weighed, of these lots (by number) and so many times their photographed boards."""
        if not all(isfinite(copies) and copies > 0 for copies in lots.values()):
            return ()  # the log refuses it
        odd_copies = _of_copies(lots)
        contents, number = _with(self.contents, new, lots, corrects, None)
        expected = () if odd_copies else self._of_estimate(contents, number, new)
        return (
            *odd_copies,
            *_of_gold(new),
            *(expected or self._of_boards(new, lots)),
            *_of_day(self.today, new.weighed_on),
        )

    def of_batch_yield(self, new: NewYield, batch: int | str) -> Questions:
        """About gold that was weighed at the end of a batch."""
        number = self.contents.batches.named(batch).id
        lots = self.contents.batches.lots_in(number)
        contents, its = _with(self.contents, new, lots, None, number)
        expected = self._of_estimate(contents, its, new)
        return (*_of_gold(new), *(expected or self._of_boards(new, lots)), *_of_day(self.today, new.weighed_on))

    def of_correction(self, new: NewYield, number: int) -> Questions:
        """About a yield that is to replace another one, with the same lots."""
        old = next((y for y in self.contents.yields if y.id == number), None)
        if old is None:
            return ()  # the log says so
        lots = {y.lot_id: y.copies for y in self.contents.yield_lots if y.yield_id == number}
        if self.contents.batch_of(old) is not None and not lots:
            return (*_of_gold(new), *_of_day(self.today, new.weighed_on))
        return self.of_yield(new, lots, corrects=number)

    def of_purchase(self, new: NewPurchase, lot: LoggedLot | int, *, corrects: int | None = None) -> Questions:
        """About what was paid, and how much of it there was said to be; the purchase that it corrects is left out."""
        lot_id = lot if isinstance(lot, int) else lot.id
        return (*self._of_price(new, lot_id, corrects), *_of_boards_bought(new), *_of_day(self.today, new.bought_on))

    def of_money(self, new: NewMoney) -> Questions:
        """About a cost, the proceeds of a sale, or a settlement."""
        most = limits()["price_most"].value
        shown = f"{new.amount:,.2f} {new.currency}"
        odd = (notice("money-odd", amount=shown),) if float(new.amount) > most else ()
        kept_back = f"{new.charges:,.2f} {new.currency}"
        beyond = (notice("charges-odd", amount=shown, charges=kept_back),) if new.charges > new.amount else ()
        gold = new.gold_mg or 0.0
        heavy = (notice("gold-odd", mass=_gold(gold)),) if gold > limits()["gold_most"].value else ()
        return (*odd, *beyond, *heavy, *_of_day(self.today, new.day))

    # --- the single questions

    def _of_boards(self, new: NewYield, lots: Mapping[int, float]) -> Questions:
        """Gold by the mass of the boards as bought, where that is known of all lots."""
        bought = [p for p in self.contents.current_purchases() if p.lot_id in lots and p.mass_g is not None]
        boards_mg = 1e3 * sum(p.mass_g or 0.0 for p in bought)
        share = limits()["gold_share_most"].value
        if not lots or {p.lot_id for p in bought} != set(lots) or not share * boards_mg < new.mass_mg <= boards_mg:
            return ()  # gold heavier than its boards is refused by the log itself
        percent = 100 * new.mass_mg / boards_mg
        return (notice("gold-share-odd", mass=_gold(new.mass_mg), percent=percent, boards=_gold(boards_mg)),)

    def _of_estimate(self, contents: Contents, number: int, new: NewYield) -> Questions:
        weighing = next(w for w in weighings(contents) if any(y.id == number for y in w.yields))
        expected = None if weighing.why_not else self._expected(contents, weighing)
        fine_mg, far = weighing.fine.fine_mg, limits()["far_factor"].value
        if expected is None or not expected.value > 0 or new.mass_mg == 0:  # nothing came: typed on purpose
            return ()
        if expected.low / far <= fine_mg <= expected.high * far:
            return ()
        return (
            notice(
                "yield-far-from-estimate",
                ratio=_times(fine_mg / expected.value),
                mass=_gold(fine_mg),
                low=_gold(expected.low),
                high=_gold(expected.high),
                hint=_hint(new.mass_mg, fine_mg, expected) if len(weighing.yields) == 1 else "",
            ),
        )

    def _expected(self, contents: Contents, weighing: Weighing) -> Range | None:
        """What the photos of all lots let expect; None if a lot has none that can be used."""
        whole = np.zeros(_DRAWS)
        for share, _ in weighing.shares:
            drawn = self._draws(contents, share.lot)
            if drawn is None:
                return None
            whole = whole + share.copies * drawn
        return Range.of(np.maximum(whole, 0.0)) if weighing.shares else None

    def _draws(self, contents: Contents, lot: LoggedLot) -> FloatArray | None:
        """Draws of the gold in a lot's photos, mg; lots that share an input share its draws."""
        if lot.id not in self._drawn:
            estimates = estimates_of(contents, lot)
            try:
                self._drawn[lot.id] = gold_model(estimates, 1.0).draws(_DRAWS) if estimates else None
            except GraderError:
                self._drawn[lot.id] = None
        return self._drawn[lot.id]

    def _of_price(self, new: NewPurchase, lot_id: int, corrects: int | None) -> Questions:
        price = float(new.price)
        shown = f"{new.price:,.2f} {new.currency}"
        offer = next((o.document for o in reversed(self.contents.offers) if o.lot_id == lot_id), None)
        if offer is not None and offer.get("currency") == new.currency:
            most = float(offer["proceeds"]["high"])
            if 0 < most * limits()["price_by_proceeds_most"].value < price:
                brings = f"{most:,.2f} {new.currency}"
                return (notice("price-beyond-gold", price=shown, brings=brings, ratio=_times(price / most)),)
        others = (p for p in self.contents.current_purchases() if p.id != corrects and p.currency == new.currency)
        before = [float(p.price) for p in others if p.price > 0]
        if before and price > limits()["price_by_dearest_most"].value * max(before):
            dearest = f"{max(before):,.2f} {new.currency}"
            return (notice("price-beyond-others", price=shown, dearest=dearest, ratio=_times(price / max(before))),)
        return (notice("price-odd", price=shown),) if price > limits()["price_most"].value else ()


def of_load(new: NewLoad, lots: Mapping[int | str, float], today: date) -> Questions:
    """About a load of a batch."""
    mass = _outside("boards", new.mass_g, "boards-mass-odd", _grams)
    return (*mass, *_of_copies(lots), *_of_day(today, new.loaded_on))


def of_amount(new: NewAmount) -> Questions:
    """About something that a batch used or gave."""
    return _outside(
        f"amount_{new.unit}",
        new.amount,
        "amount-odd",
        lambda value: f"{in_digits(value, 4)} {new.unit}",
        what=new.what,
    )


def of_carry_over(new: NewCarryOver) -> Questions:
    """About boards that came out with gold left on."""
    left = new.left_mg or 0.0
    odd = (notice("gold-odd", mass=_gold(left)),) if left > limits()["gold_most"].value else ()
    return (*_of_copies({0: new.copies}), *odd)


def _of_copies(lots: Mapping[Any, float]) -> Questions:
    return tuple(
        q for copies in lots.values() for q in _outside("copies", copies, "copies-odd", lambda n: in_digits(n, 6))
    )


def _of_gold(new: NewYield) -> Questions:
    most = limits()["gold_most"].value
    masses = (new.mass_mg, new.carried_in_mg, new.lost_mg)
    found = [notice("gold-odd", mass=_gold(mass)) for mass in masses if mass > most]
    if new.carried_in_mg > new.mass_mg:
        found.append(notice("carried-in-odd", mass=_gold(new.mass_mg), carried=_gold(new.carried_in_mg)))
    doubt = new.uncertainty_mg or 0.0
    if doubt > max(limits()["small_uncertainty"].value, limits()["uncertainty_share_most"].value * new.mass_mg):
        found.append(notice("uncertainty-odd", uncertainty=_gold(doubt), mass=_gold(new.mass_mg)))
    return tuple(found)


def _of_day(today: date, day: date) -> Questions:
    if day <= today + timedelta(days=1) and day.year >= limits()["first_year"].value:
        return ()
    return (notice("day-odd", day=day.isoformat()),)


def _of_boards_bought(new: NewPurchase) -> Questions:
    found = _outside("boards", new.mass_g, "boards-mass-odd", _grams)
    if new.count is not None and new.count > limits()["count_most"].value:
        found = (*found, notice("count-odd", count=f"{new.count:,}"))
    if found or new.mass_g is None or new.count is None:
        return found
    return _outside("one_board", new.mass_g / new.count, "board-mass-odd", _grams)


def _outside(name: str, value: float | None, code: str, show: Callable[[float], str], **more: object) -> Questions:
    """A question about a value outside its limits."""
    limit = limits()[name]
    assert limit.low is not None and limit.high is not None  # noqa: S101, PT018 - so the file has them
    if value is None or limit.low <= value <= limit.high:
        return ()
    return (notice(code, value=show(value), low=show(limit.low), high=show(limit.high), **more),)


def _with(
    contents: Contents, new: NewYield, lots: Mapping[int, float], corrects: int | None, batch: int | None
) -> tuple[Contents, int]:
    """The log as it would be with this yield, and the yield's number."""
    number = max((y.id for y in contents.yields), default=0) + 1
    gold = Yield(
        id=number, lot_id=next(iter(lots), 0), logged_at=datetime.now(UTC), corrects=corrects, **new.model_dump()
    )
    its = tuple(YieldLot(number, lot, copies) for lot, copies in lots.items())
    batches = contents.batches
    if batch is not None:
        batches = replace(batches, yields=(*batches.yields, BatchYield(number, batch)))
    return (
        replace(contents, yields=(*contents.yields, gold), yield_lots=(*contents.yield_lots, *its), batches=batches),
        number,
    )


def _hint(mass_mg: float, fine_mg: float, expected: Range) -> str:
    """What the user may have meant: another unit, or a decimal point elsewhere, that puts it into the range."""

    def fits(slip: float) -> bool:
        return expected.low <= fine_mg / slip <= expected.high

    for slip in _SAME_DIGITS:
        if fits(slip):
            return f" Did you mean {_gold(mass_mg / slip)}?"
    words = next((words for words, slip in UNIT_SLIPS.items() if fits(slip)), None)
    return "" if words is None else f" Perhaps a wrong unit: {words}."


def _times(ratio: float) -> str:
    return f"{ratio:.0f} times" if ratio >= 10 else f"{in_digits(ratio, 2)} times"


def _gold(mass_mg: float) -> str:
    for unit, mg in (("kg", 1e6), ("g", 1e3)):
        if mass_mg >= mg:
            return f"{in_digits(mass_mg / mg, 4)} {unit}"
    return f"{in_digits(mass_mg)} mg"


def _grams(mass_g: float) -> str:
    return _gold(1e3 * mass_g)
