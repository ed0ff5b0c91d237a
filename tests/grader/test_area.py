"""Plated area: coverage times true pixel area, additive, with shared inputs."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Lens
from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.plane import PosedPlane, UniformPlane
from calibration.scale import Scale
from grader.area import AreaEstimate, _finish_input, area_kind, area_of_kind, estimate_area, region_sums
from grader.budget import budget
from grader.coverage import Coverage
from grader.gold import gold_mass
from grader.model import FINISHES, Finish
from grader.regions import Board, Region, Regions
from tests.drawn_boards import box, polygon_share, union_share
from tests.drawn_sheets import View, coverage

SHAPE = (120, 160)
FACTOR = Input("scale", "scale", Distribution("lognormal", (1.0, 0.02)), "test", of=("p",))
OWN = Input("segmentation", "segmentation", Distribution("lognormal", (0.98, 0.05)), "test", of=("p",))
BRUSH = Input.named("painting:p", "painting", Distribution("lognormal", (1.01, 0.08)), "test")


def uniform(px_per_mm: float, *inputs: Input) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, inputs)


def regions_of(labels: np.ndarray, finishes: list[Finish], boards: list[int | None]) -> Regions:
    regions = tuple(
        Region(n + 1, f, np.zeros((4, 2)), 1.0, 1.0, b, None)
        for n, (f, b) in enumerate(zip(finishes, boards, strict=True))
    )
    outlines = tuple(Board(np.zeros((4, 2)), 1.0) for _ in {b for b in boards if b is not None})
    return Regions(labels.astype(np.uint16), regions, (), outlines)


def median(model: object) -> float:
    return float(np.median(model.draws(2000)))  # type: ignore[attr-defined]


@given(st.floats(1.0, 60.0), st.integers(1, 255), st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_a_uniform_plane_is_exact(px_per_mm: float, level: int, seed: int) -> None:
    share = np.where(np.random.default_rng(seed).random(SHAPE) < 0.3, level, 0).astype(np.uint8)
    labels = (share > 0).astype(np.uint16)
    by_hand = share.sum(dtype=np.int64) / 255 / px_per_mm**2
    assert region_sums(share, labels, uniform(px_per_mm)).sum() == pytest.approx(by_hand, rel=1e-12, abs=1e-300)
    assert region_sums(share, labels, None).sum() == pytest.approx(share.sum(dtype=np.int64) / 255, rel=1e-12)


@given(st.integers(0, 2**32 - 1), st.integers(1, 8))
@settings(max_examples=30, deadline=None)
def test_additive_over_regions_finishes_and_boards(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    share = rng.integers(0, 256, SHAPE).astype(np.uint8)
    labels = np.where(share > 0, rng.integers(1, count + 1, SHAPE), 0)
    finishes: list[Finish] = [FINISHES[rng.integers(3)] for _ in range(count)]
    boards: list[int | None] = [int(b) for b in rng.integers(0, 2, count)]
    boards[0] = 0
    area = estimate_area(Coverage(share, share > 0, "t", ()), regions_of(labels, finishes, boards), uniform(7.0))
    whole = share.sum(dtype=np.int64) / 255 / 49
    assert median(area.total) == pytest.approx(whole, rel=1e-9)
    assert sum(median(m) for m in area.by_finish.values()) == pytest.approx(whole, rel=1e-9)
    assert sum(median(m) for board in area.by_board for m in board.values()) == pytest.approx(whole, rel=1e-9)
    for finish in area.by_finish:
        on_boards = sum(median(b[finish]) for b in area.by_board if finish in b)
        assert on_boards == pytest.approx(median(area.by_finish[finish]), rel=1e-9)


def test_pixels_of_no_region_count_once_and_on_no_board() -> None:
    share = np.zeros(SHAPE, np.uint8)
    share[10:20, 10:20] = 255
    share[50:60, 50:60] = 51
    labels = (share == 255).astype(np.uint16)
    area = estimate_area(Coverage(share, share > 0, "t", ()), regions_of(labels, ["hard_gold"], [0]), uniform(1.0))
    assert median(area.by_finish["hard_gold"]) == pytest.approx(100)
    assert median(area.by_finish["undetermined"]) == pytest.approx(20)
    assert median(area.total) == pytest.approx(120)
    assert set(area.by_board[0]) == {"hard_gold"}
    # the segmenter saw them, no hand painted them
    seen = Coverage(share, share > 0, "t", (OWN,), painted_inputs=(BRUSH,))
    area = estimate_area(seen, regions_of(labels, ["hard_gold"], [0]), uniform(1.0))
    np.testing.assert_allclose(area.by_finish["undetermined"].draws(50), 20 * OWN.draws(50))


def test_inputs_of_scale_and_segmentation_are_shared_by_all_parts() -> None:
    share = np.zeros(SHAPE, np.uint8)
    share[10:20, 10:20] = 255
    share[40:60, 40:60] = 255
    labels = np.zeros(SHAPE, np.uint16)
    labels[10:20, 10:20], labels[40:60, 40:60] = 1, 2
    found = Coverage(share, share > 0, "t", (OWN,))
    area = estimate_area(found, regions_of(labels, ["hard_gold", "immersion_gold"], [0, None]), uniform(2.0, FACTOR))
    hard, soft = area.by_finish["hard_gold"].draws(500), area.by_finish["immersion_gold"].draws(500)
    np.testing.assert_allclose(soft / hard, 4, rtol=1e-12)
    np.testing.assert_allclose(area.total.draws(500), hard + soft, rtol=1e-12)
    np.testing.assert_allclose(hard, 25 * FACTOR.draws(500) * OWN.draws(500), rtol=1e-12)
    np.testing.assert_allclose(area.by_board[0]["hard_gold"].draws(500), hard, rtol=1e-12)


def doubtful(finish: Finish, *doubts: float) -> AreaEstimate:
    """Regions of 100 mm² each, of one finish."""
    labels = np.zeros(SHAPE, np.uint16)
    for i in range(len(doubts)):
        labels[10:20, 10 * i : 10 * i + 10] = i + 1
    share = np.where(labels > 0, 255, 0).astype(np.uint8)
    regions = tuple(Region(i + 1, finish, np.zeros((4, 2)), 1.0, 1.0, 0, None, d) for i, d in enumerate(doubts))
    found = Regions(labels, regions, (), (Board(np.zeros((4, 2)), 1.0),))
    return estimate_area(Coverage(share, share > 0, "t", (OWN,)), found, uniform(1.0, FACTOR), "abc")


@pytest.mark.parametrize("doubt", [0.05, 0.1, 0.25, 0.3])
@pytest.mark.parametrize("finish", ["hard_gold", "immersion_gold"])
def test_a_doubtful_finish_is_the_other_one_as_often_as_it_says(finish: Finish, doubt: float) -> None:
    area = doubtful(finish, doubt)
    other: Finish = "immersion_gold" if finish == "hard_gold" else "hard_gold"
    own, turned = area.by_finish[finish].draws(), area.by_finish[other].draws()
    assert np.mean(own < 1e-9) == pytest.approx(doubt, abs=0.01)
    np.testing.assert_allclose(own + turned, area.total.draws(), rtol=1e-12)
    np.testing.assert_allclose(np.minimum(own, turned), 0, atol=1e-9)
    np.testing.assert_allclose(area.by_board[0][finish].draws(), own, rtol=1e-12)


def test_doubts_of_one_photo_are_drawn_together_and_do_not_average_out() -> None:
    area = doubtful("hard_gold", 0.1, 0.1, 0.2)
    hard = area.by_finish["hard_gold"].draws() / area.total.draws()
    found, often = np.unique(np.round(hard, 6), return_counts=True)
    np.testing.assert_allclose(found, [0, 2 / 3, 1], atol=1e-5)
    np.testing.assert_allclose(often / len(hard), [0.1, 0.1, 0.8], atol=0.01)


def test_doubts_of_two_photos_are_drawn_apart() -> None:
    one, two = (_finish_input(photo, 18).draws() for photo in ("abc", "abd"))
    assert abs(np.corrcoef(one, two)[0, 1]) < 0.03


def test_doubt_about_the_finish_widens_the_gold_and_leaves_the_area_alone() -> None:
    sure, unsure = doubtful("hard_gold", 0.0), doubtful("hard_gold", 0.25)
    assert np.array_equal(sure.total.draws(), unsure.total.draws())
    low = [np.quantile(gold_mass(a.by_finish).total.draws(), 0.05) for a in (sure, unsure)]
    assert low[1] < 0.8 * low[0]  # hard gold may be flash gold as it is, so that its own range begins low
    lines = {line.title: line.share_of_variance for line in budget(gold_mass(unsure.by_finish).total)}
    assert lines["telling hard gold from immersion gold"] > 0.05


def test_nothing_plated_is_no_area() -> None:
    nothing = np.zeros(SHAPE, np.uint8)
    area = estimate_area(Coverage(nothing, nothing > 0, "t", ()), regions_of(nothing, [], []), uniform(5.0, FACTOR))
    assert area.by_finish == {}
    assert area.total.terms == ()


def test_more_pixels_than_one_part_of_the_sum_holds() -> None:
    share = np.full((600, 700), 255, np.uint8)
    assert region_sums(share, np.ones(share.shape, np.uint16), uniform(10.0))[1] == pytest.approx(4200.0, rel=1e-12)


@given(st.floats(-1, 1), st.floats(-1, 1), st.floats(0, 180))
@settings(max_examples=20, deadline=None)
def test_a_drawn_rectangle_at_any_place_and_angle(dx: float, dy: float, angle: float) -> None:
    share = np.round(255 * polygon_share(box((80 + dx, 60 + dy), 60.0, 9.0, angle), SHAPE)).astype(np.uint8)
    area = region_sums(share, (share > 0).astype(np.uint16), uniform(12.0))[1]
    assert area == pytest.approx(60 * 9 / 144, rel=2e-3)


@pytest.mark.parametrize(("tilt", "turn", "k1"), [(0.0, 0.0, 0.0), (15.0, 40.0, 0.0), (25.0, 200.0, -0.05)])
def test_a_tilted_camera_with_a_lens_sees_the_true_area(tilt: float, turn: float, k1: float) -> None:
    """A disc off the middle, drawn by rays that share nothing with the measuring code; π r² to 0.1 %."""
    view = View(320, 240, 300.0, tilt, turn, 10.0, 100.0, (5.0, 3.0), k1=k1)
    share = coverage(view, lambda mm: np.hypot(mm[:, 0] - 12, mm[:, 1] + 4) < 15.0, 1.6, 12)
    plane = PosedPlane(Lens(300.0, 159.5, 119.5, k1, 0.0), view.rotation, view.translation, 1.6)
    codes = np.round(255 * share).astype(np.uint8)
    area = region_sums(codes, (codes > 0).astype(np.uint16), Scale("target", plane, 3.0, ()))[1]
    assert area == pytest.approx(math.pi * 225, rel=1e-3)


def test_parts_add_up_to_the_whole_under_a_tilted_camera() -> None:
    plane = PosedPlane(Lens(300.0, 79.5, 59.5, 0.0, 0.0), *_pose(20.0), 0.0)
    contacts = [box((30.0 + 8 * i, 60.0), 5.0, 40.0) for i in range(12)]
    share = np.round(255 * union_share(contacts, SHAPE)).astype(np.uint8)
    labels = np.zeros(SHAPE, np.uint16)
    for number, contact in enumerate(contacts, 1):
        labels[polygon_share(contact, SHAPE) > 0] = number
    scale = Scale("target", plane, 3.0, ())
    sums = region_sums(share, labels, scale)
    assert sums[0] == 0
    assert sums.sum() == pytest.approx(region_sums(share, (share > 0).astype(np.uint16), scale).sum(), rel=1e-12)
    assert sums[1] != pytest.approx(sums[12], rel=0.02)


def _pose(tilt_deg: float) -> tuple[np.ndarray, np.ndarray]:
    view = View(160, 120, 300.0, tilt_deg, 90.0, 0.0, 100.0, (0.0, 0.0))
    return view.rotation, view.translation


@pytest.mark.parametrize("side_px", [1, 3, 9])
def test_patches_far_below_a_square_millimetre_count_in_full(side_px: int) -> None:
    """At 20 px/mm a patch of 9 px across has 0.2 mm²: found and painted ones alike are added, none is dropped."""
    labels = np.zeros(SHAPE, np.uint16)
    labels[10 : 10 + side_px, 10 : 10 + side_px], labels[40 : 40 + side_px, 40 : 40 + side_px] = 1, 2
    share = np.where(labels > 0, 255, 0).astype(np.uint8)
    found = Region(1, "hard_gold", np.zeros((4, 2)), 1.0, 1.0, 0, None)
    painted = Region(2, "immersion_gold", np.zeros((4, 2)), 1.0, 1.0, None, None, painted=True)
    regions = Regions(labels, (found, painted), (), (Board(np.zeros((4, 2)), 1.0),))
    area = estimate_area(
        Coverage(share, share > 0, "t", (OWN,), painted_inputs=(BRUSH,)), regions, uniform(20.0, FACTOR)
    )
    patch = side_px**2 / 400
    np.testing.assert_allclose(area.by_finish["hard_gold"].draws(50), patch * FACTOR.draws(50) * OWN.draws(50))
    np.testing.assert_allclose(area.by_finish["immersion_gold"].draws(50), patch * FACTOR.draws(50) * BRUSH.draws(50))
    sum_of_both = area.by_finish["hard_gold"].draws(50) + area.by_finish["immersion_gold"].draws(50)
    np.testing.assert_allclose(area.total.draws(50), sum_of_both)
    assert set(area.by_board[0]) == {"hard_gold"}


@pytest.mark.parametrize("level", [1, 2, 255])
def test_pixels_that_are_barely_covered_count_by_their_share(level: int) -> None:
    share = np.full((7, 9), level, np.uint8)
    labels = np.tile(np.array([0, 1, 2], np.uint16), (7, 3))
    assert region_sums(share, labels, None) == pytest.approx([21 * level / 255] * 3, rel=1e-12)


def test_a_region_without_area_hides_none_that_comes_after_it() -> None:
    """An empty region of another finish is passed over, and so is one that is sure: the next ones still count."""
    labels = np.zeros(SHAPE, np.uint16)
    labels[10:20, 10:20], labels[30:40, 30:40] = 2, 3
    share = np.where(labels > 0, 255, 0).astype(np.uint8)
    finishes: tuple[Finish, ...] = ("undetermined", "immersion_gold", "hard_gold")
    regions = tuple(
        Region(n + 1, f, np.zeros((4, 2)), 1.0, 1.0, None, None, d)
        for n, (f, d) in enumerate(zip(finishes, (0.0, 0.0, 0.25), strict=True))
    )
    area = estimate_area(Coverage(share, share > 0, "t", ()), Regions(labels, regions, (), ()), uniform(1.0), "abc")
    hard, soft = area.by_finish["hard_gold"].draws(), area.by_finish["immersion_gold"].draws()
    assert np.mean(hard) == pytest.approx(75, abs=2)
    np.testing.assert_allclose(hard + soft, 200)
    assert "undetermined" not in area.by_finish


def test_area_of_one_kind_carries_the_inputs_of_the_whole() -> None:
    """What a cut plan adds up kind by kind is what was estimated of the whole."""
    coverage_ = Coverage(np.zeros(SHAPE, np.uint8), np.zeros(SHAPE, bool), "t", (OWN,), painted_inputs=(BRUSH,))
    scale = uniform(20.0, FACTOR)
    for hand, factor in ((False, OWN), (True, BRUSH)):
        only = area_of_kind(("hard_gold", 0, hand), 0.5, coverage_, scale, "abc")
        assert set(only) == {"hard_gold"}
        np.testing.assert_allclose(only["hard_gold"].draws(50), 0.5 * FACTOR.draws(50) * factor.draws(50))
    whole = doubtful("hard_gold", 0.25)
    kind = area_kind(Region(1, "hard_gold", np.zeros((4, 2)), 1.0, 1.0, 0, None, 0.25))
    again = area_of_kind(
        kind, 100.0, Coverage(coverage_.share, coverage_.board, "t", (OWN,)), uniform(1.0, FACTOR), "abc"
    )
    for finish, model in whole.by_finish.items():
        np.testing.assert_allclose(again[finish].draws(), model.draws())
