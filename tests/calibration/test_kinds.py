"""What is held of each kind of boards; against the reports that it was built on."""

from __future__ import annotations

import re
from importlib import resources

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.kinds import KINDS_OF_BOARDS, UNKNOWN, BoardKind, board_kind, kind_named
from calibration.thickness import contact_plating, gold_properties, thickness_prior

KINDS = [board_kind(key) for key in KINDS_OF_BOARDS]
EVEN = (np.arange(100_000) + 0.5) / 100_000
RANGE = r"([\d.]+) to ([\d.]+) um, median ([\d.]+) um"
STATED = re.compile(rf"# One design, 90 % range: {RANGE}. Many: {RANGE}.\n\[([a-z_]+)\]")


def three(distribution: Distribution) -> NDArray[np.float64]:
    return np.quantile(distribution.at(EVEN), [0.05, 0.5, 0.95])


def test_the_file_states_the_ranges_that_its_figures_give() -> None:
    text = resources.files("calibration").joinpath("data", "board_kinds.toml").read_text(encoding="utf-8")
    stated = STATED.findall(text)
    assert {row[-1] for row in stated} == set(KINDS_OF_BOARDS)
    for *numbers, key in stated:
        low, high, middle, many_low, many_high, many_middle = (float(n) for n in numbers)
        kind = board_kind(key)
        assert three(kind.plating("one").thickness) == pytest.approx([low, middle, high], rel=0.01)
        assert three(kind.plating("many").thickness) == pytest.approx([many_low, many_middle, many_high], rel=0.02)


# Fit of the public reports, as the data file's head gives it: median of the hard gold, and its 90 % range.
@pytest.mark.parametrize(
    ("key", "median", "low", "high"),
    [("unknown", 0.70, 0.51, 0.98), ("memory", 0.64, 0.45, 0.91), ("consumer_cards", 0.75, 0.54, 1.04)],
)
def test_hard_gold_has_the_median_of_the_fit(key: str, median: float, low: float, high: float) -> None:
    kind = board_kind(key)
    middle = three(kind.hard)[1]
    assert middle == pytest.approx(median, rel=0.01)
    # how far the typical thickness is known is the fit's range of the median
    assert middle * np.exp(1.645 * kind.typical_sd_log) == pytest.approx(high, rel=0.1)
    assert middle * np.exp(-1.645 * kind.typical_sd_log) == pytest.approx(low, rel=0.1)


def test_the_pooled_flash_share_is_that_of_the_fit() -> None:
    low, _, high = three(board_kind(UNKNOWN).flash_share)
    assert board_kind(UNKNOWN).mean_flash_share == pytest.approx(0.22, abs=0.005)
    assert low == pytest.approx(0.03, abs=0.015)
    assert high == pytest.approx(0.49, abs=0.05)


def test_a_pile_of_many_designs_has_the_mean_of_the_fit() -> None:
    # the fit's mean of a mixed lot: memory 0.53 um (0.40 to 0.72), cards 0.62 um (0.45 to 0.87); ours may be wider,
    # because the share's range is, and no narrower
    low, middle, high = three(board_kind("memory").plating("many").thickness)
    assert middle == pytest.approx(0.53, rel=0.07)
    assert 0.25 < low < 0.40
    assert 0.72 < high < 0.90


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.key)
def test_many_designs_are_as_thick_on_average_as_one_and_less_spread(kind: BoardKind) -> None:
    one, many = (kind.plating(d).thickness.at(EVEN) for d in ("one", "many"))
    assert many.mean() == pytest.approx(one.mean(), rel=0.01)
    assert many.std() < 0.6 * one.std()


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.key)
def test_whether_it_is_flash_goes_with_the_thickness(kind: BoardKind) -> None:
    plating = kind.plating("one")
    thickness, flash = plating.thickness.at(EVEN), plating.flash.at(EVEN)
    assert set(np.unique(flash)) == {0.0, 1.0}
    assert flash.mean() == pytest.approx(kind.mean_flash_share, abs=1e-4)
    assert np.median(thickness[flash == 1]) == pytest.approx(0.09, rel=0.01)
    assert np.median(thickness[flash == 0]) == pytest.approx(three(kind.hard)[1], rel=0.01)


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.key)
def test_there_is_no_hole_between_flash_and_hard_gold(kind: BoardKind) -> None:
    # thin hard gold of 0.13 to 0.5 um exists; density on the logarithm, against the lower of the two humps
    drawn = kind.plating("one").thickness.at(EVEN)
    assert ((drawn > 0.13) & (drawn < 0.5)).mean() > 0.2
    heights, edges = np.histogram(np.log(drawn), bins=np.log(0.05) + 0.2 * np.arange(18))
    um = np.exp((edges[1:] + edges[:-1]) / 2)
    between = heights[(um > 0.13) & (um < 0.5)].min()
    assert between > 0.25 * min(heights[um < 0.13].max(), heights[um > 0.5].max())


def test_each_kind_says_where_it_comes_from_and_differs_from_the_pooled_one_where_it_says_so() -> None:
    assert all(len(k.source) > 40 for k in KINDS)
    pooled = board_kind(UNKNOWN)
    for key in ("old", "telecom_server", "slot_processors", "cartridges"):  # no usable report: pooled hard gold
        assert board_kind(key).hard == pooled.hard
        assert board_kind(key).flash_share != pooled.flash_share


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.key)
def test_a_kind_is_named_by_its_key_or_its_words(kind: BoardKind) -> None:
    assert kind_named(kind.words.upper()) == kind_named(kind.key.replace("_", "-")) == kind.key


@pytest.mark.parametrize("text", ["", "do not know", "unknown", "  Not known "])
def test_not_knowing_is_an_answer(text: str) -> None:
    assert kind_named(text) == UNKNOWN


def test_another_kind_is_refused() -> None:
    for ask in (board_kind, kind_named):
        with pytest.raises(UsageError) as caught:
            ask("toasters")
        assert caught.value.code == "kind-unknown"


def test_both_inputs_of_a_kind_are_drawn_together_and_apart_from_other_kinds() -> None:
    thickness, flash = contact_plating("memory")
    assert thickness.drawn_as == flash.drawn_as
    assert thickness.name == "thickness:hard_gold:memory"
    drawn, is_flash = thickness.draws(5000), flash.draws(5000)
    assert np.median(drawn[is_flash == 1]) < 0.15 < np.median(drawn[is_flash == 0])
    assert contact_plating("old")[0].drawn_as != thickness.drawn_as
    assert contact_plating()[0] == thickness_prior("hard_gold")
    assert contact_plating()[0].name == "thickness:hard_gold"


def test_properties_know_the_kind_and_leave_what_was_learned() -> None:
    found = gold_properties(kind="memory", designs="many")
    assert (found["hard_gold"].thickness, found["hard_gold"].flash) == contact_plating("memory", "many")
    assert found["immersion_gold"].flash is None
    learned = gold_properties({"hard_gold": thickness_prior("immersion_gold")}, "memory")
    assert learned["hard_gold"].flash is None
