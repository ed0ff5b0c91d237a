"""Corrections by hand: what they mean, by property; what they do to area, finish, rows and range."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.area import estimate_area, region_sums
from grader.budget import budget
from grader.correct import (
    Correction,
    Corrections,
    FilledIn,
    FilledOut,
    FinishChanged,
    LeftOut,
    PaintedIn,
    PaintedOut,
    apply_corrections,
)
from grader.corrections import Stroke
from grader.coverage import Coverage
from grader.model import FINISHES, Range
from grader.regions import Regions
from tests.drawn_boards import box, contact_row, union_share
from tests.regions_of import find_regions

SHAPE = (240, 320)
PX_PER_MM = 8.0
SEGMENTER = Input("segmentation", "segmenter", Distribution("lognormal", (1.0, 0.12)), "test", of=("x",))
ROW = contact_row((60.0, 60.0), 10, 20.0, (11.0, 44.0))
PAD = box((160.0, 170.0), 40.0, 30.0)


def flat(px_per_mm: float = PX_PER_MM) -> Scale:
    return Scale("target", UniformPlane(px_per_mm), px_per_mm, ())


def coverage_of(share: np.ndarray) -> Coverage:
    return Coverage(np.round(255 * share).astype(np.uint8), np.ones(share.shape, bool), "truth", (SEGMENTER,))


@pytest.fixture(scope="module")
def card() -> tuple[Coverage, Regions]:
    """A row of ten contacts and a pad."""
    coverage = coverage_of(union_share([*ROW, PAD], SHAPE))
    return coverage, find_regions(coverage, flat())


@pytest.fixture(scope="module")
def bare() -> tuple[Coverage, Regions]:
    coverage = coverage_of(np.zeros(SHAPE))
    return coverage, find_regions(coverage, flat())


def share_after(of: tuple[Coverage, Regions], *items: Correction) -> np.ndarray:
    return apply_corrections(*of, Corrections(items), flat())[0].share


def area_mm2(of: tuple[Coverage, Regions], *items: Correction) -> dict[str, float]:
    """Area of each finish, from the coefficients of its model."""
    coverage, regions = apply_corrections(*of, Corrections(items), flat(), "x")
    mm2 = region_sums(coverage.share, regions.labels, flat())
    sums = dict.fromkeys(FINISHES, 0.0)
    for region in regions.regions:
        sums[region.finish] += float(mm2[region.number])
    return sums


def middle(of: np.ndarray) -> tuple[float, float]:
    x, y = of.mean(axis=0)
    return float(x), float(y)


# --- what corrections mean


@given(st.from_type(PaintedIn))
@settings(max_examples=60, deadline=None)
def test_painting_in_then_out_leaves_bare_board_bare(bare: tuple[Coverage, Regions], stroke: PaintedIn) -> None:
    out = PaintedOut(stroke.path_px, stroke.radius_px)
    coverage, regions = apply_corrections(*bare, Corrections((stroke, out)), flat())
    assert not coverage.share.any()
    assert sum(area_mm2(bare, stroke, out).values()) == 0
    assert not coverage.painted_inputs
    del regions


@given(st.from_type(PaintedIn))
@settings(max_examples=40, deadline=None)
def test_painting_in_then_out_is_painting_out(card: tuple[Coverage, Regions], stroke: PaintedIn) -> None:
    out = PaintedOut(stroke.path_px, stroke.radius_px)
    assert np.array_equal(share_after(card, stroke, out), share_after(card, out))
    assert np.array_equal(share_after(card, out, stroke), share_after(card, stroke))


@given(st.from_type(Stroke))
@settings(max_examples=40, deadline=None)
def test_twice_is_once(card: tuple[Coverage, Regions], stroke: PaintedIn | PaintedOut) -> None:
    assert np.array_equal(share_after(card, stroke, stroke), share_after(card, stroke))


@given(st.lists(st.from_type(Correction), min_size=1, max_size=5))
@settings(max_examples=40, deadline=None)
def test_undone_is_as_if_never_done(card: tuple[Coverage, Regions], items: list[Correction]) -> None:
    before = apply_corrections(*card, Corrections(tuple(items[:-1])), flat(), "x")
    apply_corrections(*card, Corrections(tuple(items)), flat(), "x")
    again = apply_corrections(*card, Corrections(tuple(items[:-1])), flat(), "x")
    assert np.array_equal(before[0].share, again[0].share)
    assert np.array_equal(before[1].labels, again[1].labels)
    assert [r.finish for r in before[1].regions] == [r.finish for r in again[1].regions]
    assert before[0].area_inputs == again[0].area_inputs


@given(st.lists(st.from_type(Correction), max_size=5))
@settings(max_examples=60, deadline=None)
def test_labels_and_regions_stay_of_one_mind(card: tuple[Coverage, Regions], items: list[Correction]) -> None:
    coverage, regions = apply_corrections(*card, Corrections(tuple(items)), flat(), "x")
    assert int(regions.labels.max()) <= len(regions.regions)
    assert [r.number for r in regions.regions] == list(range(1, len(regions.regions) + 1))
    assert all(r.row is None or r.row < len(regions.rows) for r in regions.regions)
    mm2 = region_sums(coverage.share, regions.labels, flat())
    assert sum(area_mm2(card, *items).values()) + mm2[0] == pytest.approx(mm2.sum())
    assert mm2.sum() == pytest.approx(coverage.share.sum() / 255 / PX_PER_MM**2)
    estimate = estimate_area(coverage, regions, flat())
    assert sum(t.coefficient for t in estimate.total.terms) == pytest.approx(mm2.sum(), abs=1e-9)


@given(st.lists(st.from_type(Correction), min_size=1, max_size=4))
@settings(max_examples=30, deadline=None)
def test_what_was_found_is_never_changed_itself(card: tuple[Coverage, Regions], items: list[Correction]) -> None:
    share, labels = card[0].share.copy(), card[1].labels.copy()
    apply_corrections(*card, Corrections(tuple(items)), flat(), "x")
    assert np.array_equal(card[0].share, share)
    assert np.array_equal(card[1].labels, labels)


def test_of_corrections_of_a_region_the_last_counts(card: tuple[Coverage, Regions]) -> None:
    at = middle(PAD)
    as_found = area_mm2(card)
    pad = 40.0 * 30.0 / PX_PER_MM**2
    left_out = area_mm2(card, LeftOut(at))
    assert sum(as_found.values()) - sum(left_out.values()) == pytest.approx(pad, rel=0.01)
    back = area_mm2(card, LeftOut(at), FinishChanged(at, "hard_gold"))
    assert sum(back.values()) == pytest.approx(sum(as_found.values()))
    assert back["hard_gold"] - area_mm2(card, LeftOut(at))["hard_gold"] == pytest.approx(pad, rel=0.01)
    assert area_mm2(card, FinishChanged(at, "hard_gold"), LeftOut(at)) == left_out


def test_a_person_who_names_a_finish_has_no_doubt_of_it(card: tuple[Coverage, Regions]) -> None:
    doubtful = replace(card[1], regions=tuple(replace(r, doubt=0.3) for r in card[1].regions))
    _, regions = apply_corrections(card[0], doubtful, Corrections((FinishChanged(middle(PAD), "hard_gold"),)), flat())
    assert sorted(r.doubt for r in regions.regions) == [0.0] + [0.3] * (len(regions.regions) - 1)


def test_a_correction_that_meets_no_region_is_told(card: tuple[Coverage, Regions]) -> None:
    coverage, _ = apply_corrections(*card, Corrections((LeftOut((5.0, 5.0)), LeftOut((-9.0, 7.0)))), flat())
    assert np.array_equal(coverage.share, card[0].share)
    (told,) = (n for n in coverage.notices if n.code == "correction-missed")
    assert told.message.startswith("2 of")


def test_rows_keep_the_contacts_that_remain(card: tuple[Coverage, Regions]) -> None:
    (row,) = card[1].rows
    assert row.count == 10
    items: list[Correction] = [LeftOut(middle(ROW[0])), PaintedOut((middle(ROW[4]),), 40.0)]
    _, regions = apply_corrections(*card, Corrections((items[0],)), flat())
    assert [r.count for r in regions.rows] == [9]
    assert sum(r.row == 0 for r in regions.regions) == 9
    _, regions = apply_corrections(*card, Corrections(tuple(LeftOut(middle(c)) for c in ROW)), flat())
    assert regions.rows == ()
    assert all(r.row is None for r in regions.regions)
    _, regions = apply_corrections(*card, Corrections(tuple(items)), flat())
    assert [r.count for r in regions.rows] == [6]  # the brush, 40 px, takes three contacts 20 px apart


def test_a_row_left_out_at_once_is_each_contact_left_out(card: tuple[Coverage, Regions]) -> None:
    first, *rest = (middle(c) for c in ROW)
    at_once = apply_corrections(*card, Corrections((LeftOut(first, tuple(rest)),)), flat())
    one_by_one = apply_corrections(*card, Corrections(tuple(LeftOut(middle(c)) for c in ROW)), flat())
    assert np.array_equal(at_once[0].share, one_by_one[0].share)
    assert at_once[1].rows == ()
    back = area_mm2(card, LeftOut(first, tuple(rest)), FinishChanged(first, "hard_gold", tuple(rest)))
    assert sum(back.values()) == pytest.approx(sum(area_mm2(card).values()))


@given(st.from_type(FilledIn))
@settings(max_examples=40, deadline=None)
def test_a_polygon_filled_and_emptied_is_as_one_emptied(card: tuple[Coverage, Regions], filled: FilledIn) -> None:
    out = FilledOut(filled.corners_px, filled.px_per_screen_px)
    assert np.array_equal(share_after(card, filled, out), share_after(card, out))
    assert np.array_equal(share_after(card, out, filled), share_after(card, filled))


def test_a_polygon_set_on_a_coarser_screen_is_less_sure(bare: tuple[Coverage, Regions]) -> None:
    corners = ((60.0, 60.0), (160.0, 60.0), (160.0, 90.0), (60.0, 90.0))

    def width(px_per_screen_px: float) -> float:
        corrections = Corrections((FilledIn(corners, "hard_gold", px_per_screen_px),))
        found = Range.of(estimate_area(*apply_corrections(*bare, corrections, flat(), "x"), flat()).total.draws())
        return math.log(found.high / found.low) / (2 * 1.645)

    # all edges may be off by 0.7 px + 1.5 px of the screen: the outline's 260 px of the 3000 px² inside
    assert width(0.2) == pytest.approx(1.0 * 260 / 3000, rel=0.1)
    assert width(2.0) == pytest.approx(3.7 * 260 / 3000, rel=0.1)


def test_leaving_out_all_gives_zero_and_says_what_that_means(card: tuple[Coverage, Regions]) -> None:
    faint = card[0].share.copy()
    faint[220, 300] = 60  # belongs to no region
    coverage = replace(card[0], share=faint)
    items = tuple(LeftOut(middle(piece)) for piece in [*ROW, PAD])
    almost, regions = apply_corrections(coverage, card[1], Corrections(items[1:]), flat())
    assert almost.share[220, 300] == 60
    none, regions = apply_corrections(coverage, card[1], Corrections(items), flat())
    assert not none.share.any()
    assert [n.code for n in none.notices] == ["all-left-out"]
    assert estimate_area(none, regions, flat()).total.terms == ()


# --- area and its range


def test_what_is_painted_in_is_plated_area_with_an_error_of_its_own(bare: tuple[Coverage, Regions]) -> None:
    stroke = PaintedIn(((60.0, 120.0), (220.0, 120.0)), 6.0, "hard_gold")
    coverage, regions = apply_corrections(*bare, Corrections((stroke,)), flat(), "x")
    true_mm2 = (12 * 160 + math.pi * 36) / PX_PER_MM**2
    assert area_mm2(bare, stroke) == pytest.approx(
        {"hard_gold": true_mm2, "immersion_gold": 0, "undetermined": 0}, rel=0.01
    )
    (region,) = regions.regions
    assert region.painted
    assert region.length == pytest.approx(172 / PX_PER_MM, rel=0.03)
    assert region.width == pytest.approx(12 / PX_PER_MM, rel=0.1)
    area = estimate_area(coverage, regions, flat())
    assert set(area.total.inputs) == {"painted-in:x"}
    found = Range.of(area.total.draws())
    # both long edges may be off by 0.7 px + 0.15 of the radius = 1.6 px, together: 3.2 px of 12
    assert math.log(found.high / found.low) / (2 * 1.645) == pytest.approx(
        1.6 * (2 * 160 + 2 * math.pi * 6) / (12 * 160 + math.pi * 36), rel=0.15
    )
    assert not any(n.code == "no-gold-found" for n in coverage.notices)


def test_painting_inside_what_was_found_has_no_edge_that_counts(card: tuple[Coverage, Regions]) -> None:
    coverage, regions = apply_corrections(
        *card, Corrections((PaintedIn((middle(PAD),), 6.0, "hard_gold"),)), flat(), "x"
    )
    assert np.array_equal(coverage.share, card[0].share)
    assert coverage.painted_inputs == ()
    assert [r.finish for r in regions.regions if r.painted] == ["hard_gold"]


def test_painting_out_bare_board_changes_nothing(card: tuple[Coverage, Regions]) -> None:
    coverage, _ = apply_corrections(*card, Corrections((PaintedOut(((280.0, 200.0),), 20.0),)), flat(), "x")
    assert np.array_equal(coverage.share, card[0].share)
    assert coverage.area_inputs == card[0].area_inputs


def test_a_cut_through_plating_widens_the_range(card: tuple[Coverage, Regions]) -> None:
    coverage, regions = apply_corrections(*card, Corrections((PaintedOut(((180.0, 170.0),), 20.0),)), flat(), "x")
    assert [i.name for i in coverage.area_inputs] == ["segmentation:x", "painted-out:x"]
    names = {line.input for line in budget(estimate_area(coverage, regions, flat()).total)}
    assert "painted-out:x" in names


def test_painted_and_found_area_have_independent_errors(card: tuple[Coverage, Regions]) -> None:
    stroke = PaintedIn(((240.0, 180.0), (300.0, 180.0)), 8.0, "immersion_gold")
    coverage, regions = apply_corrections(*card, Corrections((stroke,)), flat(), "x")
    total = estimate_area(coverage, regions, flat()).total
    assert sorted(t.factors for t in total.terms) == [("painted-in:x",), ("segmentation:x",)]


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_photo_and_its_corrections_moves_no_area(turns: int, card: tuple[Coverage, Regions]) -> None:
    def turned(at: tuple[float, float]) -> tuple[float, float]:
        x, y = at
        w, h = SHAPE[1], SHAPE[0]
        for _ in range(turns):  # as np.rot90: left by a quarter
            x, y, w, h = y, w - 1 - x, h, w
        return x, y

    path = ((60.0, 140.0), (150.5, 150.2), (200.0, 210.0))
    cut = ((100.0, 60.0), (180.0, 66.0))
    before = area_mm2(card, PaintedIn(path, 7.3, "hard_gold"), PaintedOut(cut, 9.0), LeftOut(middle(ROW[9])))
    share = np.rot90(union_share([*ROW, PAD], SHAPE), turns)
    coverage = coverage_of(np.ascontiguousarray(share))
    other = (coverage, find_regions(coverage, flat()))
    after = area_mm2(
        other,
        PaintedIn(tuple(map(turned, path)), 7.3, "hard_gold"),
        PaintedOut(tuple(map(turned, cut)), 9.0),
        LeftOut(turned(middle(ROW[9]))),
    )
    assert sum(after.values()) == pytest.approx(sum(before.values()), rel=0.003)
