"""From photos to the lot: closed forms of the estimators, what is shared, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from math import log1p, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.lot import Lot, Part, Sight, estimate_lot
from grader.lot.observed import Observed, observed_in
from grader.lot.sampling import Spread, observed_spread, pooled, prior_spread, unseen_factor
from grader.measured import Measured, MeasuredBoard
from grader.model import ProductModel, Term
from tests.measured_photos import outlined, photo_with

THICKNESS = Input("thickness", "thickness", Distribution("lognormal", (1.0, 0.5)), "test", "um", of=("hard_gold",))


def fixed(value: float) -> Distribution:
    return Distribution("constant", (value,))


def photo(
    name: str,
    gold_mg: float,
    boards: tuple[MeasuredBoard, ...] = (),
    *,
    scale_sd: float = 0.0,
    thickness: bool = False,
) -> Measured:
    inputs = {f"scale:{name}": Input("scale", "scale", Distribution("normal", (1.0, scale_sd)), "test", of=(name,))}
    if thickness:
        inputs[THICKNESS.name] = THICKNESS
    model = ProductModel((Term(gold_mg, tuple(inputs)),), inputs)
    return photo_with(name, model, boards=boards, scale_inputs=(f"scale:{name}",))


def of(*parts: Part) -> Any:
    return estimate_lot(Lot(parts))


def relative_sd(draws: np.ndarray) -> float:
    return float(np.std(draws) / np.mean(draws))


def test_boards_seen_alone_are_the_sum_of_their_photos() -> None:
    estimate = of(Part("a", (Sight(photo("x", 10.0), boards=2), Sight(photo("y", 5.0)))))
    assert estimate.gold_mg.draws(10) == pytest.approx(np.full(10, 15.0))
    assert estimate.parts[0].boards == 3
    assert estimate.notices == ()
    assert estimate.parts[0].spread is None


def test_a_count_multiplies_gold_per_board_and_leaves_a_range_that_the_prior_sets() -> None:
    draws = of(Part("a", (Sight(photo("x", 40.0), boards=4),), count=fixed(100.0))).gold_mg.draws(200_000)
    assert np.mean(draws) == pytest.approx(1000.0, rel=2e-3)
    # what was seen is there in every draw
    assert draws.min() >= 40.0
    # nothing told how far boards differ: the other 96 hold a half to twice as much on average
    low, high = (np.quantile(draws, q) - 40.0 for q in (0.05, 0.95))
    assert low < 0.5 * 960 < 1.8 * 960 < high


def test_all_seen_has_no_sampling_error_and_few_seen_has_much() -> None:
    def spread(n: int, total: int) -> float:
        return relative_sd(of(Part("a", (Sight(photo("x", n), boards=n),), count=fixed(total))).gold_mg.draws())

    assert spread(30, 30) == 0.0
    assert spread(29, 30) < spread(15, 30) < spread(3, 30) < spread(1, 30)
    assert spread(1, 30) > 0.3


def test_photos_of_single_boards_teach_the_spread() -> None:
    alike = [Sight(photo(f"x{i}", 10.0 + 0.01 * i)) for i in range(6)]
    odd = [Sight(photo(f"x{i}", g)) for i, g in enumerate((2.0, 18.0, 3.0, 17.0, 1.0, 19.0))]
    few = of(Part("a", tuple(alike[:1]), count=fixed(1000.0)))
    same, mixed = (of(Part("a", tuple(s), count=fixed(1000.0))) for s in (alike, odd))
    assert same.parts[0].spread < few.parts[0].spread < mixed.parts[0].spread


def test_outlines_that_match_the_count_tell_boards_apart() -> None:
    apart = tuple(outlined(100.0, g) for g in (1.0, 9.0))
    told = of(Part("a", (Sight(photo("x", 10.0, apart), boards=2),), count=fixed(10.0)))
    touching = of(Part("a", (Sight(photo("x", 10.0, (outlined(200.0, 10.0),)), boards=2),), count=fixed(10.0)))
    assert told.parts[0].spread > 2 * touching.parts[0].spread
    assert [n.code for n in touching.notices] == ["boards-not-photographed", "touching-boards"]


def test_boards_weighed_together_are_told_apart_too() -> None:
    """By hand: 10 mg and 30 g on two outlines, one of them with a tenth of the gold on a third of the area."""
    two = photo("x", 10.0, (outlined(100.0, 1.0), outlined(200.0, 9.0)))
    assert observed_in(two, 2, 30.0) == [
        Observed(pytest.approx(1.0, rel=1e-3), 1, pytest.approx(10.0)),
        Observed(pytest.approx(9.0, rel=1e-3), 1, pytest.approx(20.0)),
    ]
    assert [o.size for o in observed_in(two, 2)] == [1.0, 1.0]
    assert [(o.boards, o.size) for o in observed_in(two, 3, 30.0)] == [(3, 30.0)]
    apart, together = (
        of(Part("a", (Sight(photo("x", 20.0, outlines), boards=2, weighed_g=30.0),), mass_g=fixed(9e3)))
        for outlines in ((outlined(100.0, 10.0), outlined(100.0, 10.0)), (outlined(200.0, 20.0),))
    )
    assert apart.parts[0].spread < together.parts[0].spread


def test_a_stated_mass_and_weighed_boards() -> None:
    part = Part(
        "a", (Sight(photo("x", 20.0), boards=2, weighed_g=40.0),), mass_g=Distribution("uniform", (900, 1100))
    )
    estimate = of(part)
    assert estimate.parts[0].boards == pytest.approx(50.0, rel=0.01)
    draws = estimate.gold_mg.draws(200_000)
    assert np.mean(draws) == pytest.approx(500.0, rel=5e-3)
    assert np.mean(estimate.mass_g.draws()) == pytest.approx(1000.0, rel=5e-3)
    assert [n.code for n in estimate.notices] == ["boards-not-photographed"]


def test_one_stated_number_is_a_claim_with_a_range_of_its_own() -> None:
    part = Part("a", (Sight(photo("x", 20.0), weighed_g=20.0),), mass_g=fixed(1000.0))
    draws = of(part).mass_g.draws()
    assert 840 < draws.min() < draws.max() < 1021
    assert np.mean(draws) == pytest.approx(1000 * (0.85 + 0.98 + 1.02) / 3, rel=2e-3)


def test_by_outlines_the_scale_cancels_in_gold_per_mass_but_not_in_gold_per_board() -> None:
    board = (outlined(4000.0, 10.0),)  # 40 cm2, about 19 g at 0.47 g/cm2

    def spread(**size: Distribution) -> tuple[float, float]:
        def one(scale_sd: float) -> float:
            part = Part("a", (Sight(photo("x", 10.0, board, scale_sd=scale_sd)),), **size)
            return relative_sd(of(part).gold_mg.draws())

        return one(0.0), one(0.2)

    exact, doubtful = spread(mass_g=fixed(19_000.0))
    assert doubtful == pytest.approx(exact, rel=0.01)
    exact, doubtful = spread(count=fixed(1000.0))
    assert doubtful > 1.02 * exact


def test_a_count_that_is_a_range() -> None:
    part = Part("a", (Sight(photo("x", 10.0)),), count=Distribution("uniform", (80.0, 120.0)))
    draws = of(part).gold_mg.draws(100_000)
    assert np.mean(draws) == pytest.approx(1000.0, rel=5e-3)
    assert of(part).parts[0].boards == pytest.approx(100.0, rel=0.01)


@pytest.mark.parametrize(("other_face", "factor"), [("left_out", 1.0), ("alike", 1 + (0.5 + 1.0 + 1.1) / 3)])
def test_the_other_face(other_face: Any, factor: float) -> None:
    estimate = of(Part("a", (Sight(photo("x", 10.0)),), other_face=other_face))
    assert np.mean(estimate.gold_mg.draws()) == pytest.approx(10.0 * factor, rel=2e-3)
    codes = [n.code for n in estimate.notices]
    assert codes == (["other-face-assumed"] if other_face == "alike" else [])


def test_one_back_that_was_photographed_tells_of_all_backs() -> None:
    sights = (Sight(photo("f1", 10.0), photo("b1", 4.0)), Sight(photo("f2", 12.0)))
    estimate = of(Part("a", sights, other_face="alike"))
    assert estimate.gold_mg.draws(10) == pytest.approx(np.full(10, 2 * (11.0 + 4.0)))
    assert estimate.notices == ()


def test_one_thickness_for_a_part_another_for_the_next() -> None:
    one = Part("a", (Sight(photo("x", 10.0, thickness=True)), Sight(photo("y", 10.0, thickness=True))))
    other = Part("b", (Sight(photo("z", 20.0, thickness=True)),))
    alone, both = of(one).gold_mg.draws(100_000), of(one, other).gold_mg.draws(100_000)
    assert relative_sd(alone) == pytest.approx(sqrt(np.exp(0.25) - 1), rel=0.02)
    assert relative_sd(both) == pytest.approx(relative_sd(alone) / sqrt(2), rel=0.02)


@pytest.mark.parametrize("seen", [1, 2, 3, 8])
def test_ranges_hold_for_boards_that_vary_as_the_prior_says(seen: int) -> None:
    """Lognormal boards, which the estimator does not assume; their spread drawn from the prior, cut off at 1."""
    rng, total, cases = np.random.default_rng(5), 60, 1500
    prior = prior_spread()
    held, ratios = 0, []
    for case in range(cases):
        spread = min(prior.relative_sd * sqrt(prior.degrees / rng.chisquare(prior.degrees)), 1.0)
        boards = np.exp(sqrt(log1p(spread**2)) * rng.standard_normal(total)) / sqrt(1 + spread**2)
        known = pooled(prior, observed_spread([Observed(float(b), 1, 1.0) for b in boards[:seen]]))
        unseen = unseen_factor("u", known, seen, float(total))
        assert unseen is not None
        draws = boards[:seen].sum() + (total - seen) * boards[:seen].mean() * unseen.draws(1000, case)
        low, high = np.quantile(draws, [0.05, 0.95])
        held += low <= boards.sum() <= high
        ratios.append(draws.mean() / total)
    assert held / cases == pytest.approx(0.9, abs=0.03)
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.03)


def test_boards_that_do_not_differ_leave_no_range() -> None:
    unseen = unseen_factor("u", Spread(0.0, 3), 2, 10.0)
    assert unseen is not None
    assert (unseen.draws(10) == 1.0).all()


def test_a_learned_thickness_stays_shared_between_parts() -> None:
    learned = replace(THICKNESS, of=("hard_gold", "12345678"), belief="abc")

    def taught(name: str) -> Measured:
        return photo(name, 10.0).with_gold(ProductModel.of(10.0, (learned,)))

    both = of(Part("a", (Sight(taught("x")),)), Part("b", (Sight(taught("y")),))).gold_mg
    assert both.draws(1000) == pytest.approx(20.0 * learned.draws(1000))


@given(
    golds=st.lists(st.floats(0.5, 50), min_size=1, max_size=4),
    counts=st.lists(st.integers(5, 200), min_size=4, max_size=4),
)
@settings(max_examples=25, deadline=None)
def test_disjoint_parts_add_up(golds: list[float], counts: list[int]) -> None:
    parts = [
        Part(f"p{i}", (Sight(photo(f"x{i}", g)),), count=fixed(n))
        for i, (g, n) in enumerate(zip(golds, counts, strict=False))
    ]
    alone = sum(of(p).gold_mg.draws(500) for p in parts)
    assert of(*parts).gold_mg.draws(500) == pytest.approx(alone)


def test_pooling_weighs_by_degrees_of_freedom() -> None:
    assert pooled(Spread(0.3, 3), None) == Spread(0.3, 3)
    assert pooled(Spread(0.3, 3), Spread(0.1, 1)).relative_sd == pytest.approx(sqrt((0.27 + 0.01) / 4))
    assert observed_spread([Observed(1.0, 1, 1.0)]) is None
    # gold in step with mass: no spread about the ratio, much about the mean
    in_step = [Observed(m / 10, 1, m) for m in (10.0, 20.0, 40.0)]
    assert observed_spread(in_step) == Spread(pytest.approx(0.0, abs=1e-12), 2)


def test_a_cluster_counts_as_its_mean() -> None:
    """Four boards seen together vary half as much as single ones: the same spread between boards comes out."""
    clusters = [Observed(4 * g, 4, 4.0) for g in (0.9, 1.1)]
    spread = observed_spread(clusters)
    assert spread is not None
    assert spread.relative_sd == pytest.approx(2 * np.std([0.9, 1.1], ddof=1))
    assert unseen_factor("u", spread, 8, 8.0) is None


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: Part("a", (Sight(photo("x", 1.0), boards=4),), count=fixed(3.0)), "count-below-seen"),
        (
            lambda: Part("a", (Sight(photo("x", 1.0), boards=4),), count=Distribution("uniform", (3.0, 9.0))),
            "count-below-seen",
        ),
        (lambda: Part("a", ()), "part-empty"),
        (lambda: Part("a", (Sight(photo("x", 1.0)),), fixed(3.0), fixed(3.0)), "part-two-sizes"),
        (lambda: Sight(photo("x", 1.0), boards=0), "boards-invalid"),
        (lambda: Sight(photo("x", 1.0), weighed_g=0.0), "mass-invalid"),
        (lambda: Part("a", (Sight(photo("x", 1.0)),), mass_g=fixed(-1.0)), "mass-invalid"),
        (
            lambda: Part("a", (Sight(photo("x", 1.0), weighed_g=3.0), Sight(photo("y", 1.0))), mass_g=fixed(30.0)),
            "weighed-in-part",
        ),
        (lambda: Lot(()), "measurements-none"),
        (lambda: Lot((Part("a", (Sight(photo("x", 1.0)),)), Part("b", (Sight(photo("x", 1.0)),)))), "photo-twice"),
        (lambda: Lot((Part("a", (Sight(photo("x", 1.0)),)), Part("a", (Sight(photo("y", 1.0)),)))), "part-twice"),
        (lambda: of(Part("a", (Sight(photo("x", 1.0)),), mass_g=fixed(30.0))), "outline-missing"),
        (
            lambda: of(Part("a", (Sight(photo("x", 1.0), weighed_g=500.0),), mass_g=fixed(30.0))),
            "lot-lighter-than-seen",
        ),
    ],
)
def test_lots_refused(make: Any, code: str) -> None:
    with pytest.raises(UsageError) as caught:
        make()
    assert caught.value.code == code
