"""Comparison, record, returns and batches on a log written by hand, with gold that is known exactly."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from math import exp, hypot, log, sqrt
from typing import Any

import numpy as np
import pytest
from scipy.stats import t as student

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.thickness import gold_properties, thickness_prior
from grader.learn import batches_of, calibration_curve, pairs, record, records, returns, returns_by, weighed_gold
from grader.learn.batches import same_name
from grader.learn.compare import NO_NAME, YieldBesideEstimate
from grader.learn.flags import reasons
from grader.learn.lots import estimates_of, gold_model
from grader.learn.weighings import weighings
from grader.log import Contents
from grader.log.model import Estimate, Exclusion, LoggedLot, Mark, Purchase, Yield, YieldLot
from grader.lot.observed import Observed
from grader.lot.sampling import others_than
from grader.lot.whole import whole_of
from grader.model import ProductModel, Range

DAY = date(2026, 5, 20)
NOON = datetime(2026, 5, 20, 12, tzinfo=UTC)
HARD, SOFT = "hard_gold", "immersion_gold"


def fixed(name: str, value: float) -> Input:
    return Input.named(name, name, Distribution("constant", (value,)), "test")


def estimate(
    number: int, lot: int, gold_mg: dict[str, float], *, at: datetime = NOON, sha: str = "", **more: Any
) -> Estimate:
    """Gold by finish, known exactly, on as many mm²."""
    gold = sum(
        (ProductModel.of(mg, (fixed(f"thickness:{f}", 1.0),)) for f, mg in gold_mg.items()), ProductModel((), {})
    )
    areas = {f: ProductModel.of(mg, ()).as_json() for f, mg in gold_mg.items()}
    document = {
        "schema": 1,
        "photo": f"{number}.jpg",
        "model": {"gold_mg": gold.as_json(), "area_mm2": areas},
        **more,
    }
    return Estimate(number, lot, sha or f"photo {number}", at, "test", document)


def gold_of(number: int, lot: int, mass_mg: float, **more: Any) -> Yield:
    plain = Yield(number, lot, NOON + timedelta(hours=1), mass_mg, 1e-9, 1.0, "assayed", "", DAY)
    return replace(plain, **more)


def contents(**kinds: Any) -> Contents:
    lots = (LoggedLot(1, "one", "Ash", "", NOON, "strips"), LoggedLot(2, "two", "", "", NOON, ""))
    empty = {"lots": lots, "photos": (), "estimates": (), "purchases": (), "yields": (), "offers": ()}
    return Contents(**{**empty, **kinds})


TWO_LOTS = contents(
    estimates=(estimate(1, 1, {SOFT: 10.0, HARD: 30.0}), estimate(2, 2, {SOFT: 60.0, HARD: 20.0})),
    yields=(gold_of(1, 1, 44.0), gold_of(2, 2, 60.0, weighed_on=DAY - timedelta(days=1))),
    yield_lots=(YieldLot(1, 1, 1.0), YieldLot(2, 2, 1.0)),
    purchases=(
        Purchase(1, 1, NOON, Decimal("5.50"), "EUR", None, None, DAY),
        Purchase(2, 1, NOON, Decimal("1.25"), "EUR", None, None, DAY),
        Purchase(3, 2, NOON, Decimal(3), "USD", None, None, DAY),
    ),
)


# --- fine gold


def test_fine_gold_is_mass_by_fineness_less_what_came_in_with_what_was_lost() -> None:
    found = weighed_gold(gold_of(1, 1, 100.0, fineness=0.9, uncertainty_mg=2.0, carried_in_mg=10.0, lost_mg=4.0))
    assert (found.fine_mg, found.uncertainty_mg, found.fineness) == pytest.approx((84.0, 1.8, 0.9))
    # no balance in use is better than a hundredth of a milligram
    assert weighed_gold(gold_of(1, 1, 100.0, uncertainty_mg=0.0)).uncertainty_mg == 0.01
    assert weighed_gold(gold_of(1, 1, 100.0, uncertainty_mg=0.02)).uncertainty_mg == 0.02


# --- pairs


def test_weighed_beside_estimated_by_hand() -> None:
    second, first = pairs(TWO_LOTS)  # in the order of weighing
    assert (first.yield_id, first.lots, first.parts, first.sellers) == (1, ("one",), ("strips",), ("Ash",))
    assert (second.parts, second.sellers) == ((NO_NAME,), (NO_NAME,))
    assert first.finishes == (HARD, SOFT)
    assert second.finishes == (SOFT, HARD)
    assert first.counts
    assert first.error == pytest.approx(44 / 40 - 1, abs=2e-3)
    assert second.error == pytest.approx(60 / 80 - 1, abs=2e-3)
    assert first.estimate_mg is not None
    # the assay's own spread is all there is
    sd = weighed_gold(gold_of(1, 1, 44.0)).relative_sd
    assert log(first.estimate_mg.high / first.estimate_mg.low) == pytest.approx(2 * 1.645 * sd, rel=0.05)
    assert (first.place, second.place) == (1.0, 0.0)
    assert (first.inside, second.inside) == (False, False)
    # the score of a sharp forecast is the distance
    assert first.score_mg == pytest.approx(4.0, abs=0.2)
    assert second.score_mg == pytest.approx(20.0, abs=0.5)
    assert not first.learned


def test_what_the_balance_adds_is_in_the_range() -> None:
    rough = replace(TWO_LOTS, yields=(gold_of(1, 1, 44.0, uncertainty_mg=3.0),), yield_lots=(YieldLot(1, 1, 1.0),))
    (pair,) = pairs(rough)
    assert pair.estimate_mg is not None
    assert pair.estimate_mg.high - pair.estimate_mg.low == pytest.approx(2 * 1.645 * 3.0, rel=0.05)
    assert pair.inside
    assert pair.place == pytest.approx(0.91, abs=0.02)


def test_copies_multiply_what_the_photos_show() -> None:
    several = replace(TWO_LOTS, yields=(gold_of(1, 1, 200.0),), yield_lots=(YieldLot(1, 1, 1.0), YieldLot(1, 2, 2.0)))
    (pair,) = pairs(several)
    assert pair.lots == ("one", "two")
    assert pair.error == pytest.approx(200 / (40 + 2 * 80) - 1, abs=2e-3)


def test_an_estimate_counts_up_to_the_day_after_and_only_if_it_was_there() -> None:
    """Days are the user's own, moments in UTC: one day of grace, and never one that was made after the yield."""

    def counts(made_at: datetime, logged_at: datetime) -> bool:
        made = estimate(1, 1, {HARD: 30.0}, at=made_at)
        (pair,) = pairs(
            contents(
                estimates=(made,),
                yields=(gold_of(1, 1, 30.0, logged_at=logged_at),),
                yield_lots=(YieldLot(1, 1, 1.0),),
            )
        )
        return pair.counts

    late = NOON + timedelta(days=9)
    assert counts(NOON, NOON)
    assert counts(NOON + timedelta(days=1), late)
    assert not counts(NOON + timedelta(days=2), late)
    assert not counts(NOON + timedelta(seconds=1), NOON)


def test_the_last_estimate_of_a_photo_takes_the_place_of_earlier_ones() -> None:
    again = contents(
        estimates=(
            estimate(1, 1, {HARD: 30.0}, sha="a"),
            estimate(2, 1, {HARD: 50.0}, sha="b"),
            estimate(3, 1, {HARD: 31.0}, sha="a"),
            Estimate(4, 1, "c", NOON, "test", {"schema": 1, "photo": "c.jpg", "model": None}),
            estimate(5, 2, {HARD: 7.0}, sha="d"),
        )
    )
    found = estimates_of(again, again.lots[0])
    assert [e.id for e in found] == [3, 2]
    assert gold_model(found, 2.0).draws(3) == pytest.approx(np.full(3, 162.0))


def test_yields_that_do_not_count_say_why() -> None:
    unusable = Estimate(1, 1, "a", NOON, "test", {"schema": 1, "photo": "a.jpg", "model": {"gold_mg": 3}})
    one = (YieldLot(1, 1, 1.0),)
    for estimates, exclusions, word in (
        ((), (), "no estimate"),
        ((unusable,), (), "model cannot be read"),
        ((estimate(1, 1, {HARD: 30.0}),), (Exclusion(1, 1, True, "spilt", "", NOON),), "excluded: spilt"),
        ((estimate(1, 1, {}),), (), "no estimate"),
    ):
        written = contents(estimates=estimates, yields=(gold_of(1, 1, 30.0),), yield_lots=one, exclusions=exclusions)
        (pair,) = pairs(written)
        assert not pair.counts
        assert word in pair.why_not
    # taken in again it counts
    twice = (Exclusion(1, 1, True, "spilt", "", NOON), Exclusion(2, 1, False, "not so", "", NOON))
    (pair,) = pairs(replace(TWO_LOTS, yields=TWO_LOTS.yields[:1], yield_lots=one, exclusions=twice))
    assert pair.counts


def pair(
    number: int, fine: float, estimated: float | None, place: float | None = 0.5, **more: Any
) -> YieldBesideEstimate:
    shown = None if estimated is None else Range(estimated, estimated * 0.8, estimated * 1.25)
    score = None if estimated is None else abs(fine - estimated)
    return YieldBesideEstimate(number, ("l",), ("p",), ("s",), (HARD,), DAY, fine, shown, place, score, **more)


def test_bounds_of_a_range_belong_to_it() -> None:
    assert [pair(1, mg, 100.0).inside for mg in (79.9, 80.0, 125.0, 125.1)] == [False, True, True, False]
    assert pair(1, 5.0, None).inside is None
    assert pair(1, 5.0, None).error is None
    assert pair(1, 5.0, 0.0).error is None
    assert pair(1, 5.0, 0.5).error == pytest.approx(9.0)


def test_a_record_by_hand() -> None:
    """Ratios 0.5, 1 and 2: geometric mean 1, spread ln 2, and Student's 2.920 with two degrees of freedom."""
    some = [pair(1, 50.0, 100.0), pair(2, 100.0, 100.0), pair(3, 200.0, 100.0)]
    found = record("all", [*some, pair(4, 1.0, None), pair(5, 1.0, 0.0), pair(6, 1.0, 9.0, why_not="spilt")])
    assert found is not None
    assert (found.name, found.count, found.coverage.hits, found.coverage.cases) == ("all", 3, 1, 3)
    assert found.ratio == pytest.approx(1.0)
    half = 2.920 * log(2) / sqrt(3)
    assert found.ratio_range == pytest.approx((exp(-half), exp(half)))
    assert found.score_mg == pytest.approx((50 + 0 + 100) / 3)
    alone = record("one", some[:1])
    assert alone is not None
    assert (alone.count, alone.ratio, alone.ratio_range) == (1, pytest.approx(0.5), None)
    two = record("two", some[:2])
    assert two is not None
    assert two.ratio_range == pytest.approx(
        [sqrt(0.5) * exp(s * 6.314 * log(2) / sqrt(2) / sqrt(2)) for s in (-1, 1)]
    )
    # nothing weighed: a thousandth of what was expected
    nothing = record("none", [pair(1, 0.0, 100.0)])
    assert nothing is not None
    assert nothing.ratio == pytest.approx(1e-3)


def test_records_by_name_count_a_yield_of_two_parts_for_both() -> None:
    some = [
        replace(pair(1, 9.0, 9.0), parts=("a", "b")),
        replace(pair(2, 9.0, 9.0), parts=("b",), finishes=(SOFT, HARD)),
    ]
    assert [(r.name, r.count) for r in records(some, "part")] == [("a", 1), ("b", 2)]
    assert [(r.name, r.count) for r in records(some, "finish")] == [(HARD, 1), (SOFT, 1)]
    assert [(r.name, r.count) for r in records(some, "year")] == [("2026", 2)]


def test_central_ranges_hold_what_lies_in_their_middle() -> None:
    """Places 0.05, 0.35, 0.5, 0.62 and 0.95: the range of 10 % runs from 0.45 to 0.55, that of 90 % to the ends."""
    places = (0.05, 0.35, 0.5, 0.62, 0.95)
    curve = calibration_curve([pair(n, 1.0, 1.0, p) for n, p in enumerate(places)])
    assert [s.level for s in curve] == pytest.approx([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9])
    assert [s.coverage.hits for s in curve] == [1, 1, 3, 3, 3, 3, 3, 3, 5]
    assert all(s.coverage.cases == 5 for s in curve)
    assert calibration_curve([pair(1, 1.0, None, None)]) == ()


# --- what lots returned


def test_what_lots_returned_by_hand() -> None:
    one, two = returns(TWO_LOTS)
    assert (one.name, one.paid, one.fine_mg, one.lots) == ("one", {"EUR": Decimal("6.75")}, 44.0, 1)
    assert two.paid_per_g() == {"USD": pytest.approx(3 / 0.060)}
    assert replace(two, fine_mg=0.0).paid_per_g() == {}
    assert {r.name: (r.fine_mg, r.lots) for r in returns_by(TWO_LOTS, "seller")} == {
        "Ash": (44.0, 1), NO_NAME: (60.0, 1)
    }  # fmt: skip
    same = replace(TWO_LOTS, lots=tuple(replace(lot, part="strips") for lot in TWO_LOTS.lots))
    (strips,) = returns_by(same, "part")
    assert (strips.name, strips.fine_mg, strips.lots) == ("strips", 104.0, 2)
    assert strips.paid == {"EUR": Decimal("6.75"), "USD": Decimal(3)}


def test_gold_of_two_lots_is_apportioned_by_their_estimates_or_evenly() -> None:
    both = (YieldLot(1, 1, 1.0), YieldLot(1, 2, 2.0))
    joint = replace(TWO_LOTS, yields=(gold_of(1, 1, 100.0),), yield_lots=both)
    assert [r.fine_mg for r in returns(joint)] == pytest.approx([100 * 40 / 200, 100 * 160 / 200])
    unknown = replace(joint, estimates=TWO_LOTS.estimates[:1])
    assert [r.fine_mg for r in returns(unknown)] == pytest.approx([50.0, 50.0])
    broken = replace(joint, estimates=(TWO_LOTS.estimates[0], Estimate(2, 2, "b", NOON, "test", {"model": {}})))
    assert [r.fine_mg for r in returns(broken)] == pytest.approx([50.0, 50.0])
    # a lot that gave no yield is not among them
    alone = replace(TWO_LOTS, yields=TWO_LOTS.yields[:1], yield_lots=both[:1])
    assert [r.name for r in returns(alone)] == ["one"]


# --- batches to learn from


def test_a_batch_by_hand() -> None:
    """Area × density × fraction is gold per µm; each finish is named with its part and seller."""
    weighing = replace(TWO_LOTS, yields=TWO_LOTS.yields[:1], yield_lots=(YieldLot(1, 1, 3.0),))
    (batch,) = batches_of(weighing).batches
    assert (batch.name, batch.mass_mg, batch.process) == ("1", 44.0, 0)
    # three copies of what was photographed, of which nobody knows how many boards: one, of three
    others = others_than("x", [Observed(1.0, 1, 1.0)], 3.0)
    assert others is not None
    whole = np.log(1 / 3 + 2 / 3 * others.factor.draws(2000))
    for plating, finish, area in zip(batch.platings, (HARD, SOFT), (30.0, 10.0), strict=True):
        density = np.prod([np.median(i.draws(2000)) for i in gold_properties()[finish].inputs()[1:]])  # type: ignore[index]
        assert plating.finish == finish
        assert plating.mg_per_um == pytest.approx(3 * exp(whole.mean()) * area * 1e-3 * density, rel=0.02)
        assert (plating.part, plating.seller) == ("strips", "ash")
    assert batch.uncertainty_mg == pytest.approx(0.01)
    fineness = weighed_gold(weighing.yields[0]).relative_sd
    assert batch.relative_sd == pytest.approx(hypot(fineness, whole.std()), rel=0.05)


def test_unseen_boards_of_two_lots_err_each_for_itself() -> None:
    """Two lots of the same gold, one wholly seen: its half carries none of the other's error."""

    def sd(first: float, second: float) -> float:
        made = contents(
            estimates=(estimate(1, 1, {HARD: 10.0}, boards=[{}] * 2), estimate(2, 2, {HARD: 10.0}, boards=[{}] * 2)),
            yields=(gold_of(1, 1, 9.0),),
            yield_lots=(YieldLot(1, 1, first), YieldLot(1, 2, second)),
        )
        (batch,) = batches_of(made).batches
        return batch.relative_sd

    fineness = sd(1.0, 1.0)
    factor, of_one = whole_of([Observed(10.0, 2, 2.0)], 4.0)
    added = sqrt(sd(2.0, 1.0) ** 2 - fineness**2)
    assert added == pytest.approx(of_one * 2 * factor / (2 * factor + 1), rel=0.05)
    both = sqrt(sd(2.0, 2.0) ** 2 - fineness**2)
    assert both == pytest.approx(of_one / sqrt(2), rel=0.05)


def test_marks_decide_what_is_learned_from_and_of_which_process() -> None:
    written = replace(TWO_LOTS, marks=(Mark(1, "process", DAY, "new acid", "", NOON + timedelta(days=1)),))
    found = batches_of(written)
    assert {b.name: b.process for b in found.batches} == {"1": 1, "2": 0}
    assert (found.process, dict(found.left_out)) == (1, {})
    reset = Mark(1, "reset", DAY - timedelta(days=1), "again", "", NOON + timedelta(days=1))
    after = batches_of(replace(TWO_LOTS, marks=(reset,)))
    assert [b.name for b in after.batches] == ["1"]
    assert after.left_out == {2: "before the belief was reset"}
    assert after.process == 0
    # what was logged after the mark is new, whatever day it was weighed
    early = replace(reset, logged_at=NOON)
    assert len(batches_of(replace(TWO_LOTS, marks=(early,))).batches) == 2


def test_names_that_differ_in_case_and_blanks_are_one() -> None:
    assert same_name("  Ash   LANE ") == "ash lane"
    assert same_name("") == ""


def test_what_cannot_teach_is_named() -> None:
    bare = replace(
        TWO_LOTS, estimates=(Estimate(1, 1, "a", NOON, "test", {"schema": 1, "photo": "a.jpg", "model": {}}),)
    )
    why_not = batches_of(bare).left_out
    assert set(why_not) == {1, 2}
    assert "estimate 1, photo a.jpg" in why_not[1]
    assert "model.gold_mg" in why_not[1]
    assert why_not[2] == "no photo of its lots was measured"
    assert weighings(bare)[0].gold.id == 1


@pytest.mark.parametrize(
    ("ratio", "units"),
    [
        (1.0, 0), (1.5, 0), (1000.0, 1), (1590.0, 1), (1610.0, 0), (630.0, 1), (620.0, 0), (1 / 1000, 1),
        (31.1, 1), (15.4, 1), (22.0, 2), (1 / 31.1, 1), (1 / 15.4, 1), (60.0, 0), (5.0, 0), (0.2, 0),
    ],
)  # fmt: skip
def test_slips_of_units_are_named_where_the_factor_is_near(ratio: float, units: int) -> None:
    found = reasons(ratio)
    assert sum(r.startswith("wrong unit") for r in found) == units
    assert len(found) == units + 4
    assert ("carried over" in found[units]) == (ratio > 1)


def test_the_middle_of_a_thickness_weighs_finishes_against_each_other() -> None:
    """A batch's spread counts each finish by its usual gold: soft gold's doubt hardly counts beside hard."""
    wide = Input("scale", "scale", Distribution("lognormal", (1.0, 0.5)), "test")

    def sd(hard: float, soft: float) -> float:
        areas = {HARD: ProductModel.of(hard, ()), SOFT: ProductModel.of(soft, (wide,))}
        model = {"gold_mg": {"terms": [], "inputs": []}, "area_mm2": {f: a.as_json() for f, a in areas.items()}}
        document = {"schema": 1, "photo": "a.jpg", "model": model}
        made = contents(
            estimates=(Estimate(1, 1, "a", NOON, "test", document),),
            yields=(gold_of(1, 1, 9.0),),
            yield_lots=(YieldLot(1, 1, 1.0),),
        )
        return batches_of(made).batches[0].relative_sd

    alone = sqrt(exp(0.25) - 1)  # spread of a lognormal over its mean
    by_um = {f: float(np.median(thickness_prior(f).draws(2000))) for f in (HARD, SOFT)}  # type: ignore[arg-type]
    mean_soft = 50 * exp(0.125) * by_um[SOFT] / by_um[HARD]
    share = mean_soft / (50 + mean_soft)
    assert sd(1e-9, 50.0) == pytest.approx(alone, rel=0.1)
    assert sd(50.0, 50.0) == pytest.approx(share * alone, rel=0.2)


@pytest.mark.parametrize("count", range(2, 18))
def test_the_range_of_a_ratio_is_students(count: int) -> None:
    """95 % points of Student's t from another hand, for any number of yields in the table."""
    some = [pair(n, 100.0 * exp((-1) ** n), 100.0) for n in range(count)]
    found = record("all", some)
    assert found is not None
    assert found.ratio_range is not None
    logs = [(-1) ** n for n in range(count)]
    half = student.ppf(0.95, count - 1) * np.std(logs, ddof=1) / sqrt(count)
    assert log(found.ratio_range[1] / found.ratio) == pytest.approx(half, rel=3e-4)
