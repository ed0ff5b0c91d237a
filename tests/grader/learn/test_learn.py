"""From a log of yields to the belief, the comparison, and what lots returned."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import LogError
from grader.learn import (
    batches_of,
    calibration_curve,
    newest,
    newest_in,
    pairs,
    record,
    records,
    returns,
    returns_by,
    weighed_gold,
)
from grader.learn.flags import reasons
from grader.learn.invented import PARTS, Invented, invented
from grader.log import Log, NewExclusion, NewMark, NewPurchase, NewYield, checked, open_log, photo_of
from grader.lot.observed import Observed
from grader.lot.sampling import others_than

LOTS = invented()


class Clock:
    """Says what it is told."""

    def __init__(self) -> None:
        self.moment = datetime(2025, 1, 1, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.moment += timedelta(milliseconds=1)
        return self.moment

    def go(self, day: date) -> None:
        self.moment = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def log(tmp_path: Path, clock: Clock) -> Iterator[Log]:
    with open_log(tmp_path / "log.sqlite", clock=clock) as opened:
        yield opened


def measure(log: Log, clock: Clock, lot: Invented, properties=None) -> None:
    clock.go(lot.purchase.bought_on)
    log.add_lot(lot.lot)
    log.add_purchase(lot.lot.name, lot.purchase)
    document = lot.measured(properties).to_dict()
    log.add_estimate(lot.lot.name, photo_of(document), document)


def fill(log: Log, clock: Clock, count: int = 30) -> None:
    for lot in LOTS[:count]:
        measure(log, clock, lot)
        clock.go(lot.gold.weighed_on)
        log.add_yield(lot.lot.name, lot.gold)


def gold(mass_mg: float = 5.0, day: date = date(2025, 3, 4), **more) -> NewYield:
    return checked(NewYield, mass_mg=mass_mg, weighed_on=day, **more)


def test_with_nothing_weighed_there_is_no_belief(log: Log, clock: Clock):
    assert newest_in(log) is None
    measure(log, clock, LOTS[0])
    assert newest_in(log) is None


def test_thirty_yields_narrow_the_next_estimate(log: Log, clock: Clock):
    fill(log, clock)
    found = newest_in(log)
    assert found is not None
    assert len(found.rests_on) == 30
    for part, finishes in PARTS.items():
        for finish, truth in finishes.items():
            learned = found.properties(part, "Ash Lane")[finish].thickness.draws()
            low, high = np.quantile(learned, [0.005, 0.995])
            assert low < truth < high
    lot = LOTS[1]
    before, now = (
        lot.measured(properties).to_dict()["gold_mg"]
        for properties in (None, found.properties(lot.lot.part, lot.lot.seller))
    )
    assert now["high"] / now["low"] < 0.5 * before["high"] / before["low"]


def test_names_are_the_same_in_any_case(log: Log, clock: Clock):
    fill(log, clock, 6)
    found = newest_in(log)
    assert found is not None
    lot = LOTS[0].lot
    typed = found.properties(f"  {lot.part.upper()} ", lot.seller.lower())
    assert typed == found.properties(lot.part, lot.seller)
    assert found.never_weighed(lot.part.upper(), "") == ()
    assert found.never_weighed("spoons", lot.seller) == ("spoons",)


def test_a_belief_is_kept_once_with_its_day(log: Log, clock: Clock):
    fill(log, clock, 3)
    first = newest_in(log)
    clock.go(date(2026, 1, 1))
    again = newest_in(log)
    assert first is not None
    assert again is not None
    assert first.made_at == again.made_at
    (kept,) = log.contents().beliefs
    assert kept.document["rests_on"] == [1, 2, 3]
    shift = next(iter(kept.document["effective_thickness_um"].values()))
    assert shift["now"]["low"] < shift["now"]["value"] < shift["now"]["high"]
    log.add_yield("Lot 01", gold(20.0))
    assert newest_in(log).made_at > first.made_at  # type: ignore[union-attr]
    assert len(log.contents().beliefs) == 2


def test_a_log_that_cannot_be_written_still_teaches(log: Log, clock: Clock, monkeypatch):
    fill(log, clock, 2)

    def full(*_: object) -> None:
        raise LogError("log-failed", "The disk is full.", "Make room.")

    monkeypatch.setattr(log, "add_belief", full)
    found = newest_in(log)
    assert found is not None
    assert found.made_at is None


def test_an_old_estimate_keeps_the_belief_it_was_made_with(log: Log, clock: Clock):
    fill(log, clock, 5)
    found = newest_in(log)
    assert found is not None
    measure(log, clock, LOTS[6], found.properties(LOTS[6].lot.part, LOTS[6].lot.seller))
    logged = log.contents().estimates[-1]
    fill_more = LOTS[5]
    measure(log, clock, fill_more)
    log.add_yield(fill_more.lot.name, fill_more.gold)
    assert newest_in(log).belief.id != found.belief.id  # type: ignore[union-attr]
    assert log.contents().estimates[5] == logged
    names = list(logged.measured.gold.inputs)
    assert any(":belief-" in name for name in names)
    clock.go(LOTS[6].gold.weighed_on)
    log.add_yield(LOTS[6].lot.name, LOTS[6].gold)
    (pair,) = (p for p in pairs(log.contents()) if p.lots == (LOTS[6].lot.name,))
    assert pair.learned
    assert not pairs(log.contents())[0].learned


def test_exclusion_correction_reset_and_process(log: Log, clock: Clock):
    fill(log, clock, 4)
    log.exclude_yield(2, checked(NewExclusion, reason="spilled"))
    log.correct_yield(3, LOTS[2].gold, "typed twice")
    contents = log.contents()
    found = batches_of(contents)
    assert [b.name for b in found.batches] == ["1", "4", "5"]
    assert found.left_out == {2: "excluded: spilled"}
    day = LOTS[3].gold.weighed_on
    log.add_mark(checked(NewMark, kind="process", day=day, note="finer filters"))
    later = batches_of(log.contents())
    assert {b.name: b.process for b in later.batches} == {"1": 0, "4": 1, "5": 0}
    assert later.process == 1
    log.add_mark(checked(NewMark, kind="reset", day=day, note="new start"))
    assert batches_of(log.contents()).batches == ()
    log.add_yield("Lot 01", gold(day=day))
    assert len(batches_of(log.contents()).batches) == 1


def test_a_lot_without_a_photo_is_named(log: Log, clock: Clock):
    clock.go(date(2025, 1, 5))
    log.add_lot(LOTS[0].lot)
    log.add_yield("Lot 01", gold())
    assert batches_of(log.contents()).left_out == {1: "no photo of its lots was measured"}
    (pair,) = pairs(log.contents())
    assert not pair.counts
    assert "no estimate" in pair.why_not


def test_fine_gold():
    known = weighed_of(gold(100.0, fineness=0.9, fineness_known="assayed", carried_in_mg=10.0, lost_mg=4.0))
    assert known.fine_mg == pytest.approx(84.0)
    bare = weighed_of(gold(100.0))
    assert 80.0 < bare.fine_mg < 100.0
    assert bare.relative_sd > known.relative_sd
    assert bare.uncertainty_mg > 1.0
    assert weighed_of(gold(100.0, uncertainty_mg=0.0)).uncertainty_mg > 0


def weighed_of(new: NewYield):
    from grader.log import Yield

    return weighed_gold(Yield(id=1, lot_id=1, logged_at=datetime.now(UTC), **new.model_dump()))


def test_estimates_count_only_if_they_came_first(log: Log, clock: Clock):
    lot = LOTS[0]
    clock.go(lot.gold.weighed_on)
    log.add_lot(lot.lot)
    log.add_yield("Lot 01", lot.gold)
    clock.go(lot.gold.weighed_on + timedelta(days=3))
    document = lot.measured().to_dict()
    log.add_estimate("Lot 01", photo_of(document), document)
    log.correct_yield(1, replace_mass(lot.gold, 1.0), "typed wrongly")
    (pair,) = pairs(log.contents())
    assert not pair.counts
    assert pair.estimate_mg is None
    assert newest(log.contents()) is not None  # the area still teaches


def replace_mass(new: NewYield, mass_mg: float) -> NewYield:
    return new.model_copy(update={"mass_mg": mass_mg})


def test_pairs_and_records(log: Log, clock: Clock):
    fill(log, clock, 12)
    log.exclude_yield(1, checked(NewExclusion, reason="wrong lot"))
    contents = log.contents()
    found = pairs(contents)
    assert [p.yield_id for p in found] == list(range(1, 13))
    assert not found[0].counts
    for p in found:
        assert p.estimate_mg is not None
        assert p.inside == (p.estimate_mg.low <= p.fine_mg <= p.estimate_mg.high)
        assert p.error == pytest.approx(p.fine_mg / p.estimate_mg.value - 1)
        assert 0 <= p.place <= 1  # type: ignore[operator]
    whole = record("all", found)
    assert whole is not None
    assert whole.count == whole.coverage.cases == 11
    assert whole.coverage.hits == sum(bool(p.inside) for p in found[1:])
    logs = [np.log(p.fine_mg / p.estimate_mg.value) for p in found[1:]]  # type: ignore[union-attr]
    assert whole.ratio == pytest.approx(np.exp(np.mean(logs)))
    # the classical 90 % interval of a mean, Student's t 1.812 with 10 degrees of freedom
    half = 1.812 * np.std(logs, ddof=1) / np.sqrt(11)
    assert whole.ratio_range == pytest.approx((np.exp(np.mean(logs) - half), np.exp(np.mean(logs) + half)))
    for by in ("finish", "part", "seller", "year"):
        assert sum(r.count for r in records(found, by)) == 11
    curve = calibration_curve(found)
    assert [s.level for s in curve] == sorted(s.level for s in curve)
    assert [s.coverage.hits for s in curve] == sorted(s.coverage.hits for s in curve)
    assert curve[-1].coverage.hits == whole.coverage.hits
    assert calibration_curve([replace(p, why_not="x") for p in found]) == ()
    assert record("none", []) is None


def test_a_yield_of_two_lots_adds_their_estimates(log: Log, clock: Clock):
    for lot in LOTS[:2]:
        measure(log, clock, lot)
    clock.go(LOTS[1].gold.weighed_on)
    log.add_yield("Lot 01", gold(30.0, LOTS[1].gold.weighed_on), {"Lot 01": 1.0, "Lot 02": 2.0})
    contents = log.contents()
    (pair,) = pairs(contents)
    medians = [lot.measured().to_dict()["gold_mg"]["value"] for lot in LOTS[:2]]
    assert pair.estimate_mg.value == pytest.approx(medians[0] + 2 * medians[1], rel=0.1)  # type: ignore[union-attr]
    found = {r.name: r.fine_mg for r in returns(contents)}
    assert sum(found.values()) == pytest.approx(weighed_gold(contents.yields[0]).fine_mg)
    assert found["Lot 02"] / found["Lot 01"] == pytest.approx(2 * medians[1] / medians[0], rel=0.1)
    (batch,) = batches_of(contents).batches
    assert {(p.part, p.seller) for p in batch.platings} == {
        (lot.lot.part, lot.lot.seller.lower()) for lot in LOTS[:2]
    }


def test_what_lots_returned(log: Log, clock: Clock):
    fill(log, clock, 6)
    log.add_purchase("Lot 01", checked(NewPurchase, price="10", currency="USD", bought_on=date(2025, 2, 1)))
    contents = log.contents()
    found = returns(contents)
    assert found[0].paid == {"EUR": LOTS[0].purchase.price, "USD": Decimal(10)}
    assert found[1].paid_per_g()["EUR"] == pytest.approx(
        float(LOTS[1].purchase.price) / (LOTS[1].gold.mass_mg * 0.985e-3)
    )
    for by in ("seller", "part"):
        groups = returns_by(contents, by)
        assert sum(r.fine_mg for r in groups) == pytest.approx(sum(r.fine_mg for r in found))
        assert sum(r.lots for r in groups) == 6


def test_a_slip_of_units_is_flagged_with_its_name(log: Log, clock: Clock):
    fill(log, clock, 10)
    wrong = LOTS[0]
    log.add_yield("Lot 01", replace_mass(wrong.gold, wrong.gold.mass_mg / 1000))
    found = newest_in(log)
    assert found is not None
    flag = found.flags()[0]
    assert flag.yield_id == 11
    assert "grams taken for milligrams" in flag.reasons[0]
    assert 11 in found.rests_on


@pytest.mark.parametrize(
    ("ratio", "word"),
    [(1000, "milligrams taken for grams"), (31, "grams taken for troy"), (3, "carried"), (0.3, "filters")],
)
def test_reasons(ratio: float, word: str):
    assert word in reasons(ratio)[0]


def test_boards_that_nobody_photographed_make_a_batch_less_telling(log: Log, clock: Clock):
    """As in the estimate of such a lot: four boards of forty seen, the others by what is held of those."""
    lot = LOTS[0]
    clock.go(lot.purchase.bought_on)
    log.add_lot(lot.lot)
    document = {**lot.measured().to_dict(), "boards": [{}] * 4}
    log.add_estimate(lot.lot.name, photo_of(document), document)
    clock.go(lot.gold.weighed_on)
    first = log.add_yield(lot.lot.name, lot.gold)
    (alone,) = batches_of(log.contents()).batches
    log.correct_yield(first.id, lot.gold, "forty boards went in", {lot.lot.name: 10.0})
    (ten,) = batches_of(log.contents()).batches
    others = others_than("x", [Observed(1.0, 4, 4.0)], 40.0)
    assert others is not None
    whole = np.log(0.1 + 0.9 * others.factor.draws(2000))
    added = whole.std()
    assert added > 0.3 * (1 / 4 - 1 / 40) ** 0.5  # Cochran's theorem 2.2 for boards known to vary by 0.3 and no more
    assert ten.relative_sd == pytest.approx((alone.relative_sd**2 + added**2) ** 0.5, rel=0.05)
    assert ten.platings[0].mg_per_um == pytest.approx(
        10 * np.exp(whole.mean()) * alone.platings[0].mg_per_um, rel=0.02
    )


def test_boards_that_the_seller_left_out_are_told_apart(log: Log, clock: Clock):
    lot = LOTS[0]
    clock.go(lot.purchase.bought_on)
    log.add_lot(lot.lot)
    document = {**lot.measured().to_dict(), "boards": [{}] * 4}
    log.add_estimate(lot.lot.name, photo_of(document), document)
    log.add_offer(lot.lot.name, {"lot": [{"name": "a", "picked": "seller", "kind": "memory"}]})
    clock.go(lot.gold.weighed_on)
    log.add_yield(lot.lot.name, lot.gold, {lot.lot.name: 10.0})
    (batch,) = batches_of(log.contents()).batches
    shown, rest = (sum(p.mg_per_um for p in batch.platings if p.picked is picked) for picked in (False, True))
    assert {p.kind for p in batch.platings} == {"memory"}
    # a tenth was shown; the others count by what is held of boards that nobody saw
    assert rest / shown == pytest.approx(9.0, rel=0.3)
