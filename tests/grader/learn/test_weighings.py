"""Gold on boards carried over from batch to batch counts once: in what is learned, compared, and returned."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from grader.learn import batches_of, pairs, returns, weighed_gold, weighings
from grader.learn.invented import invented
from grader.log import (
    Log,
    NewBatch,
    NewCarryOver,
    NewExclusion,
    NewLoad,
    NewStrike,
    NewYield,
    checked,
    open_log,
    photo_of,
)

DAY = date(2027, 3, 4)
ONE, TWO = (lot for lot in invented()[:2])


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """Two measured lots, each wholly in a batch of its own."""
    with open_log(tmp_path / "log.sqlite") as opened:
        for lot, batch in ((ONE, "First"), (TWO, "Second")):
            opened.add_lot(lot.lot)
            document = lot.measured().to_dict()
            opened.add_estimate(lot.lot.name, photo_of(document), document)
            opened.add_batch(checked(NewBatch, name=batch, started_on=DAY))
        load(opened, "First", {ONE.lot.name: 1.0})
        yield opened


def load(log: Log, batch: str, lots: dict[int | str, float], *carried: int) -> int:
    return log.add_load(batch, checked(NewLoad, loaded_on=DAY), lots, carried).id


def weigh(log: Log, batch: str, mg: float, **more: float) -> int:
    entry = checked(
        NewYield, mass_mg=mg, weighed_on=DAY, fineness=1.0, fineness_known="assayed", uncertainty_mg=3.0, **more
    )
    return log.add_batch_yield(batch, entry).id


def carry(log: Log, left: float | None = None, sd: float | None = None) -> int:
    entry = checked(NewCarryOver, copies=0.2, left_mg=left, left_uncertainty_mg=sd)
    return log.add_carry_over("First", ONE.lot.name, entry).id


def learned(log: Log) -> dict[str, float]:
    return {b.name: b.mass_mg for b in batches_of(log.contents()).batches}


def returned(log: Log) -> float:
    return sum(r.fine_mg for r in returns(log.contents()))


def test_a_batch_without_carry_over_is_learned_from_like_a_yield_of_its_lots(log: Log) -> None:
    weigh(log, "First", 100.0)
    log.add_yield(
        ONE.lot.name,
        checked(NewYield, mass_mg=100.0, weighed_on=DAY, fineness=1.0, fineness_known="assayed", uncertainty_mg=3.0),
    )
    batch, alone = batches_of(log.contents()).batches
    assert (batch.platings, batch.mass_mg, batch.uncertainty_mg, batch.relative_sd) == (
        alone.platings, alone.mass_mg, alone.uncertainty_mg, alone.relative_sd,
    )  # fmt: skip


def test_yields_of_one_batch_are_one_weighing(log: Log) -> None:
    first, last = weigh(log, "First", 60.0), weigh(log, "First", 40.0)
    sources = batches_of(log.contents())
    (batch,) = sources.batches
    assert (batch.name, batch.mass_mg) == (str(last), 100.0)
    assert batch.uncertainty_mg == pytest.approx(3 * math.sqrt(2))
    assert sources.left_out == {first: f"counted together with yield {last}"}
    (pair,) = pairs(log.contents())
    assert pair.fine_mg == 100.0
    assert returned(log) == pytest.approx(100.0)


def test_gold_left_that_was_judged_moves_from_the_later_batch_to_the_first(log: Log) -> None:
    number = carry(log, 20.0, 4.0)
    first = weigh(log, "First", 80.0)
    assert learned(log) == {str(first): 100.0}
    assert returned(log) == pytest.approx(80.0)  # what waits has not come yet
    load(log, "Second", {TWO.lot.name: 1.0}, number)
    second = weigh(log, "Second", 150.0)
    assert learned(log) == {str(first): 100.0, str(second): 130.0}
    for batch in batches_of(log.contents()).batches:
        assert batch.uncertainty_mg == pytest.approx(5.0)
    assert {p.yield_id: p.fine_mg for p in pairs(log.contents())} == {first: 100.0, second: 130.0}
    assert returned(log) == pytest.approx(230.0)


def test_gold_left_that_nobody_judged_makes_the_batches_one(log: Log) -> None:
    number = carry(log)
    first = weigh(log, "First", 80.0)
    sources = batches_of(log.contents())
    assert sources.batches == ()
    assert "wait for a later batch" in sources.left_out[first]
    assert returned(log) == pytest.approx(80.0)
    load(log, "Second", {TWO.lot.name: 1.0}, number)
    assert "Second has no yield yet" in batches_of(log.contents()).left_out[first]
    second = weigh(log, "Second", 150.0)
    (batch,) = batches_of(log.contents()).batches
    assert (batch.name, batch.mass_mg) == (str(second), 230.0)
    # each lot's plating is in it once
    parts = sorted(p.mg_per_um for p in batch.platings)
    log.add_yield(
        ONE.lot.name, checked(NewYield, mass_mg=230.0, weighed_on=DAY), {ONE.lot.name: 1.0, TWO.lot.name: 1.0}
    )
    together = batches_of(log.contents()).batches[-1]
    assert parts == pytest.approx(sorted(p.mg_per_um for p in together.platings))
    pair = next(p for p in pairs(log.contents()) if p.yield_id == second)
    assert pair.fine_mg == 230.0
    assert set(pair.lots) == {ONE.lot.name, TWO.lot.name}


def test_no_gold_is_lost_or_doubled_whatever_was_judged(log: Log) -> None:
    number = carry(log, 20.0, 4.0)
    weigh(log, "First", 80.0)
    load(log, "Second", {TWO.lot.name: 1.0}, number)
    weigh(log, "Second", 150.0)
    assert sum(w.fine.fine_mg for w in weighings(log.contents())) == pytest.approx(230.0)
    assert sum(learned(log).values()) == pytest.approx(230.0)


def test_boards_carried_over_alone_in_a_batch(log: Log) -> None:
    number = carry(log, 20.0, 4.0)
    first = weigh(log, "First", 80.0)
    load(log, "Second", {}, number)
    second = weigh(log, "Second", 23.0)
    sources = batches_of(log.contents())
    assert [b.name for b in sources.batches] == [str(first)]
    assert "only boards carried over" in sources.left_out[second]
    assert returned(log) == pytest.approx(103.0)


def test_a_struck_carry_over_no_longer_counts(log: Log) -> None:
    number = carry(log)
    first = weigh(log, "First", 80.0)
    log.strike(checked(NewStrike, kind="carry-over", entry_id=number, reason="none left on after all"))
    assert learned(log) == {str(first): 80.0}


def test_a_corrected_yield_stays_with_its_batch(log: Log) -> None:
    carry(log, 20.0, 4.0)
    wrong = weigh(log, "First", 800.0)
    right = log.correct_yield(
        wrong,
        checked(NewYield, mass_mg=80.0, weighed_on=DAY, fineness=1.0, fineness_known="assayed"),
        "misread",
    )
    assert learned(log) == {str(right.id): 100.0}


def test_an_excluded_yield_takes_its_whole_weighing_out(log: Log) -> None:
    first, last = weigh(log, "First", 60.0), weigh(log, "First", 40.0)
    log.exclude_yield(first, checked(NewExclusion, reason="spilt"))
    sources = batches_of(log.contents())
    assert sources.batches == ()
    assert sources.left_out[last] == "excluded: spilt"


def test_weighings_come_in_the_order_of_their_entry(log: Log) -> None:
    """A batch's yield between two others."""
    log.add_yield(ONE.lot.name, checked(NewYield, mass_mg=10.0, weighed_on=DAY))
    weigh(log, "First", 5.0)
    log.add_yield(ONE.lot.name, checked(NewYield, mass_mg=20.0, weighed_on=DAY))
    assert [w.gold.id for w in weighings(log.contents())] == [1, 2, 3]


def test_traces_of_gold_err_each_by_its_own_fineness(log: Log) -> None:
    """0.3 mg of an assay and 0.2 mg by one's own test, from one batch: errors add up by squares, weighed by gold."""
    for mg, how in ((0.3, "assayed"), (0.2, "found")):
        entry = checked(NewYield, mass_mg=mg, weighed_on=DAY, fineness=1.0, fineness_known=how, uncertainty_mg=0.01)
        log.add_batch_yield("First", entry)
    (both,) = weighings(log.contents())
    assay, own = (weighed_gold(y).relative_sd for y in both.yields)
    assert assay != own
    assert both.fine.fine_mg == pytest.approx(0.5)
    assert both.fine.relative_sd == pytest.approx(math.hypot(0.3 * assay, 0.2 * own) / 0.5)
    assert both.fine.uncertainty_mg == pytest.approx(0.01 * math.sqrt(2))
