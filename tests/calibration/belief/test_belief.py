"""The belief: what it must do whatever the figures."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from calibration.belief import Batch, WeighedPlating, learn, published_priors
from calibration.belief.check import world
from calibration.belief.density import Density, Weighings, glog_residual, weighed
from calibration.belief.unknowns import Unknowns, UnknownsLayout
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.thickness import gold_properties, thickness_prior

PRIORS = published_priors()


def batches(masses: list[float], mg_per_um: float = 100.0, **more: object) -> list[Batch]:
    plating = WeighedPlating("hard_gold", mg_per_um, "tongue", "Ann")
    return [Batch(str(n), (plating,), m, 0.5, 0.03, **more) for n, m in enumerate(masses)]


def middle(draws: np.ndarray) -> float:
    return float(np.median(draws))


def test_the_gradient_is_the_slope() -> None:
    w = world(12, np.random.default_rng(5), PRIORS)
    density = Density(Weighings.of(w.batches, PRIORS), PRIORS)
    prior = Unknowns(density.weighings.layout, PRIORS)
    z = prior.draw(4, np.random.default_rng(6))
    for log_density in (density, prior):
        gradient = log_density(z)[1]
        for place in range(z.shape[1]):
            step = np.zeros(z.shape[1])
            step[place] = 1e-5
            slope = (log_density(z + step)[0] - log_density(z - step)[0]) / 2e-5
            # the curves are tables: at a knot the slope jumps a little
            np.testing.assert_allclose(gradient[:, place], slope, rtol=1e-3, atol=1e-3)


def test_the_likelihood_of_a_batch_is_that_of_its_residual() -> None:
    """Student's t of the generalised logarithm's residual, with the slope of the residual in the mass; by hand."""
    some = [*batches([30.0, 0.0, 5.0]), replace(batches([1.0])[0], name="less than nothing", mass_mg=-1.5)]
    weighings = Weighings.of(some, PRIORS)
    z = Unknowns(weighings.layout, PRIORS).draw(3, np.random.default_rng(1))
    gold, spread, terms = Density(weighings, PRIORS).batchwise(z)
    residual = glog_residual(weighings.mass, gold, spread, weighings.balance)
    slope = 1 / np.sqrt(weighings.balance**2 + (spread * weighings.mass) ** 2)
    np.testing.assert_allclose(terms, stats.t.logpdf(residual, 4) + np.log(slope), rtol=1e-9)
    single = Density(weighings.single(), PRIORS)(z)[0]
    np.testing.assert_allclose(single, terms.sum(axis=1), atol=1e-3)


def test_draws_of_the_prior_are_of_its_density() -> None:
    """Of one part, the mean of exp(shifted - own log density) over draws is one, whatever the shift."""
    w = batches([1.0])
    prior = Unknowns(UnknownsLayout.of(w, PRIORS), PRIORS)
    z = prior.draw(40_000, np.random.default_rng(3))
    for place in range(z.shape[1]):
        shift = np.zeros(z.shape[1])
        shift[place] = 0.1
        ratio = np.exp(prior(z + shift)[0] - prior(z)[0])
        assert ratio.mean() == pytest.approx(1.0, abs=5 * ratio.std() / np.sqrt(len(z)) + 1e-3)


def test_the_error_of_a_weighing_undoes_itself() -> None:
    gold, spread, balance = np.array([0.0, 3.0, 500.0]), np.array([0.1, 0.2, 0.3]), np.array([2.0, 2.0, 2.0])
    residual = np.array([-1.5, 0.3, 2.0])
    shown = weighed(gold, residual, spread, balance)
    np.testing.assert_allclose(glog_residual(shown, gold, spread, balance), residual, rtol=1e-9)


def test_the_error_is_a_ratio_far_above_the_balance_and_a_difference_below() -> None:
    one = np.array([1.0])
    assert glog_residual(110 * one, 100 * one, 0.1 * one, 1e-6 * one)[0] == pytest.approx(np.log(1.1) / 0.1, rel=1e-6)
    assert glog_residual(0 * one, 1e-3 * one, 0.1 * one, 2 * one)[0] == pytest.approx(-0.5e-3, rel=1e-6)


def test_with_nothing_weighed_it_is_the_published_prior_times_a_recovery() -> None:
    thickness = learn(()).thickness("hard_gold")
    published = thickness_prior("hard_gold").draws()
    assert 0.75 < middle(thickness) / middle(published) < 1.0


def test_the_same_seed_gives_the_same_belief() -> None:
    first, again = learn(batches([30.0, 34.0])), learn(batches([30.0, 34.0]))
    np.testing.assert_array_equal(first.draws, again.draws)
    assert first.id == again.id
    assert learn(batches([30.0, 34.1])).id != first.id
    assert not np.array_equal(learn(batches([30.0, 34.0]), seed=2).draws, first.draws)


def test_twice_the_area_and_mass_teach_the_same() -> None:
    small = learn(batches([30.0, 33.0, 36.0]))
    large = learn([replace(b, uncertainty_mg=1.0) for b in batches([60.0, 66.0, 72.0], mg_per_um=200.0)])
    np.testing.assert_allclose(
        small.thickness("hard_gold", "tongue", "Ann"), large.thickness("hard_gold", "tongue", "Ann"), rtol=1e-6
    )


def test_more_gold_means_a_thicker_belief() -> None:
    heavy, light = learn(batches([60.0] * 4)), learn(batches([30.0] * 4))
    assert middle(heavy.thickness("hard_gold", "tongue", "Ann")) > 1.5 * middle(
        light.thickness("hard_gold", "tongue", "Ann")
    )


def test_more_batches_narrow_it() -> None:
    names = ("hard_gold", "tongue", "Ann")
    widths = [np.std(np.log(learn(batches([30.0] * n)).thickness(*names))) for n in (0, 1, 4, 16)]
    assert widths[0] > 3 * widths[1]
    assert widths[1] > widths[2] > widths[3]


def parts(thickness_um: list[float], kind: str = "unknown") -> list[Batch]:
    """Three batches of each of some parts."""
    return [
        Batch(f"{n}-{k}", (WeighedPlating("hard_gold", 100.0, f"part {n}", "Ann", kind),), 100.0 * um, 0.5, 0.03)
        for n, um in enumerate(thickness_um)
        for k in range(3)
    ]


def flash_share(draws: np.ndarray) -> float:
    """Share of what lies in the flash hump: below the 0.2 um where flash and hard gold part."""
    return float((draws < 0.2).mean())


def test_a_part_never_weighed_keeps_the_flash_hump() -> None:
    belief = learn(parts([0.4, 0.6, 0.7, 1.0]))
    assert flash_share(belief.thickness("hard_gold", "part 0", "Ann")) < 0.005
    unseen = belief.thickness("hard_gold", "sound cards", "Ann")
    assert flash_share(unseen) > 0.08
    assert np.quantile(unseen, 0.05) < 0.09


def test_parts_that_were_flash_make_the_next_more_likely_so() -> None:
    """Beta-like counting: 22 % before, less after four plated parts, more after two of four."""
    before, plated, half = (
        flash_share(b.thickness("hard_gold", "new", "Ann"))
        for b in (learn(()), learn(parts([0.5, 0.6, 0.7, 0.8])), learn(parts([0.08, 0.6, 0.1, 0.8])))
    )
    assert plated < before < half


def test_kinds_of_boards_do_not_speak_for_each_other_but_for_the_process() -> None:
    belief = learn(parts([0.08, 0.09, 0.1, 0.07], "memory"))
    memory, cards = (belief.thickness("hard_gold", "new", "Ann", k) for k in ("memory", "specified_cards"))
    assert flash_share(memory) > 0.4
    assert flash_share(cards) < 0.15


def test_boards_without_a_name_are_a_part_of_their_own() -> None:
    """Six plated batches without a name do not make the next one sure to be plated."""
    unnamed = [Batch(str(n), (WeighedPlating("hard_gold", 100.0),), 60.0, 0.5, 0.03) for n in range(6)]
    draws = learn(unnamed).thickness("hard_gold")
    assert 0.02 < flash_share(draws) < flash_share(learn(()).thickness("hard_gold"))


def test_older_boards_without_a_name_share_a_part() -> None:
    unnamed = [Batch(str(n), (WeighedPlating("hard_gold", 100.0),), 60.0, 0.5, 0.03) for n in range(60)]
    assert len(UnknownsLayout.of(unnamed, PRIORS).parts) == 41


def test_what_a_seller_leaves_out_is_learned() -> None:
    """The part is known from another seller; the rest of this one's lots held 0.6 of what was shown."""
    known = batches([30.0] * 6)
    shown = WeighedPlating("hard_gold", 10.0, "tongue", "Ann")
    rest = replace(shown, mg_per_um=90.0, picked=True)
    picked = [Batch(f"p{n}", (shown, rest), 3.0 + 0.6 * 27.0, 0.5, 0.03) for n in range(6)]
    before, after = (learn(b).picked("Ann") for b in (known, [*known, *picked]))
    assert middle(before) == pytest.approx(0.82, abs=0.06)
    assert middle(after) == pytest.approx(0.6, abs=0.06)
    assert np.std(after) < 0.5 * np.std(before)
    assert middle(learn([*known, *picked]).picked("Ben")) == pytest.approx(0.82, abs=0.06)


def test_what_was_weighed_is_known_best() -> None:
    belief = learn(batches([30.0] * 12))

    def width(*names: str) -> float:
        return float(np.std(np.log(belief.thickness("hard_gold", *names))))

    assert width("tongue", "Ann") < width("tongue", "Ben") < width("other", "Ben")


def test_a_batch_of_two_finishes_is_apportioned() -> None:
    plating = WeighedPlating("hard_gold", 100.0, "card")
    both = (plating, WeighedPlating("immersion_gold", 1000.0, "card"))
    hard = [Batch(f"h{n}", (plating,), 60.0, 0.5, 0.02) for n in range(6)]
    mixed = [Batch(f"m{n}", both, 60.0 + 90.0, 0.5, 0.02) for n in range(6)]
    belief = learn([*hard, *mixed])
    assert middle(belief.thickness("immersion_gold", "card")) == pytest.approx(0.09, rel=0.15)
    assert middle(belief.thickness("hard_gold", "card")) == pytest.approx(0.60, rel=0.1)


def test_an_odd_batch_is_flagged_and_hardly_moves_the_rest() -> None:
    sound = batches([30.0, 31.0, 29.0, 30.5, 29.5, 30.2])
    odd = replace(sound[0], name="grams taken for milligrams", mass_mg=0.03)
    belief, without = learn([*sound, odd]), learn(sound)
    found = belief.surprise()
    assert found.pop(odd.name)[1] < 0.01
    assert all(chance > 0.05 for _, chance in found.values())
    moved = middle(belief.thickness("hard_gold", "tongue", "Ann")) / middle(
        without.thickness("hard_gold", "tongue", "Ann")
    )
    assert moved == pytest.approx(1.0, abs=0.1)


def test_nothing_weighed_pulls_down_and_breaks_nothing() -> None:
    belief = learn(batches([0.0, 0.0], mg_per_um=10.0))
    assert middle(belief.thickness("hard_gold", "tongue", "Ann")) < 0.1


def test_a_changed_process_restarts_recovery_but_not_thickness() -> None:
    old = learn(batches([30.0] * 20))
    new = learn(batches([30.0] * 20), process=1)
    names = ("hard_gold", "tongue", "Ann")
    old_width, new_width = (np.std(np.log(b.thickness(*names))) for b in (old, new))
    untaught = np.std(np.log(learn(()).thickness(*names)))
    assert old_width < new_width < untaught / 2


def test_inputs_carry_the_belief_into_an_estimate() -> None:
    belief = learn(batches([30.0] * 3))
    inputs = belief.inputs("tongue", "Ann", made="2026-03-04")
    assert gold_properties(inputs)["hard_gold"].thickness.unit == "um"
    given = inputs["hard_gold"]
    assert "3 weighed batches" in given.source
    assert "2026-03-04" in given.source
    assert given.name not in {i.name for i in learn(batches([30.0] * 4)).inputs("tongue", "Ann").values()}
    assert given.name not in {i.name for i in belief.inputs("other", "Ann").values()}
    assert Input.from_json(given.as_json()) == given
    assert middle(given.draws()) == pytest.approx(middle(belief.thickness("hard_gold", "tongue", "Ann")), rel=0.05)


def test_what_finishes_say_of_each_other_is_kept_in_inputs() -> None:
    platings = (WeighedPlating("hard_gold", 100.0, "card"), WeighedPlating("immersion_gold", 1000.0, "card"))
    belief = learn([Batch(str(n), platings, 150.0, 0.5, 0.02) for n in range(6)])
    both = [np.log(i.draws()) for i in belief.inputs("card").values()][:2]
    known = [np.log(belief.thickness(f, "card") * belief.batch_factor()) for f in ("hard_gold", "immersion_gold")]
    together = np.corrcoef(*known)[0, 1]
    assert together < -0.2
    assert np.corrcoef(*both)[0, 1] == pytest.approx(together, abs=0.03)


def test_two_hundred_batches_take_less_than_two_seconds() -> None:
    w = world(200, np.random.default_rng(3), PRIORS)
    learn(w.batches[:2])
    # the processor's time where others keep it busy, the clock's where several cores work together
    began = time.process_time(), time.perf_counter()
    learn(w.batches)
    assert min(time.process_time() - began[0], time.perf_counter() - began[1]) < 2.0


@pytest.mark.parametrize(
    "wrong",
    [{"mass_mg": float("nan")}, {"uncertainty_mg": 0.0}, {"platings": ()}, {"relative_sd": -1.0}, {"process": -1}],
)
def test_a_batch_that_says_nothing_is_refused(wrong) -> None:
    with pytest.raises(UsageError, match="Nothing can be learned"):
        replace(batches([1.0])[0], **wrong)
