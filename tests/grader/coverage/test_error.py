"""What a segmenter claims of its own error, and what the user is told of the picture."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.coverage.choose import segmenter_named
from grader.coverage.error import error_inputs, quality_notices, share_of_contacts
from tests.drawn_boards import GOLD, GREEN_MASK, box, paint, polygon_share

SHAPE = (100, 140)
SHARE = np.round(255 * polygon_share(box((70.0, 50.0), 60.0, 40.0), SHAPE)).astype(np.uint8)
NOTHING = np.zeros(SHAPE, np.uint8)
NAME = segmenter_named().name


def scale(px_per_mm: float) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, ())


def picture(gold: tuple[float, float, float] = GOLD) -> np.ndarray:
    return paint([(np.ones(SHAPE), GREEN_MASK), (SHARE / 255, gold)])


def spread(px_per_mm: float | None) -> float:
    [error] = error_inputs(NAME, "p", scale(px_per_mm) if px_per_mm else None, SHARE)
    return float(np.std(np.log(error.draws(20_000))))


def test_the_error_is_one_factor_about_one_that_belongs_to_the_photo() -> None:
    [error] = error_inputs(NAME, "abc123", scale(8.0), SHARE)
    assert error.name == "segmentation:abc123"
    assert error.unit == ""
    assert error.source
    draws = error.draws()
    assert np.all(draws > 0)
    assert 0.8 < np.median(draws) < 1.25


@given(st.floats(1, 60), st.floats(1, 60))
@settings(max_examples=20, deadline=None)
def test_a_coarser_picture_is_never_said_to_be_better(one: float, other: float) -> None:
    coarse, fine = min(one, other), max(one, other)
    assert spread(coarse) >= spread(fine) - 1e-3


def doubtful(doubt: float | None, px_per_mm: float | None = 6.0) -> float:
    known = scale(px_per_mm) if px_per_mm else None
    [error] = error_inputs(NAME, "p", known, SHARE, doubt)
    return float(np.std(np.log(error.draws(20_000))))


@given(st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=20, deadline=None)
def test_more_doubt_is_never_a_narrower_range(one: float, other: float) -> None:
    assert doubtful(max(one, other)) >= doubtful(min(one, other)) - 1e-3


def test_a_sure_photo_has_a_far_narrower_range_than_a_doubtful_one_and_none_is_without() -> None:
    assert 0.03 < doubtful(0.12) < 0.6 * doubtful(0.35) < 0.15


@pytest.mark.parametrize("doubt", [0.0, 0.1, 0.25, 0.4, 1.0])
def test_without_scale_the_range_is_wider_at_every_doubt(doubt: float) -> None:
    """Fitted apart: without scale, a photo of equal doubt errs about one and a half times as far."""
    assert doubtful(doubt, None) > 1.3 * doubtful(doubt)


@given(st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=20, deadline=None)
def test_more_doubt_is_never_a_narrower_range_without_scale_either(one: float, other: float) -> None:
    assert doubtful(max(one, other), None) >= doubtful(min(one, other), None) - 1e-3


@pytest.mark.parametrize("doubt", [0.1, 0.25, 0.4, 0.6])
def test_without_scale_edge_contacts_are_known_better_than_pads_and_a_mixture_in_between(doubt: float) -> None:
    pads, mixed, contacts = (
        error_inputs(NAME, "p", None, SHARE, doubt, share)[0].distribution.parameters[1] for share in (0.0, 0.5, 1.0)
    )
    assert contacts < mixed < pads
    assert doubtful(doubt, None) == pytest.approx(pads, rel=1e-3)


def test_share_of_contacts_weighs_each_pixel_with_its_plating() -> None:
    share = np.zeros((40, 60), np.uint8)
    contact = np.zeros_like(share)
    share[5:15, 5:15], share[20:30, 30:50] = 255, 51
    contact[5:15, 5:15] = 255
    assert share_of_contacts(share, contact) == pytest.approx(100 / 140)
    assert share_of_contacts(share, None) is None
    assert share_of_contacts(np.zeros_like(share), contact) is None


def test_without_scale_and_doubt_the_widest_error_is_taken() -> None:
    assert spread(None) == pytest.approx(spread(0.5))
    assert spread(None) >= spread(30.0)


def test_where_nothing_was_found_there_is_nothing_to_be_wrong_by_a_factor() -> None:
    assert error_inputs(NAME, "p", scale(8.0), NOTHING) == ()


def test_the_segmenter_in_use_has_its_figures() -> None:
    assert error_inputs(NAME, "p", None, SHARE)


def codes(rgb: np.ndarray, share: np.ndarray, px_per_mm: float | None = 10.0) -> set[str]:
    return {n.code for n in quality_notices(rgb, share, scale(px_per_mm) if px_per_mm else None)}


def test_a_good_picture_needs_no_words() -> None:
    assert codes(picture(), SHARE) == set()


def test_nothing_found_is_said() -> None:
    assert codes(picture(), NOTHING) == {"no-gold-found"}


def test_gold_washed_out_to_white_is_said() -> None:
    assert codes(picture((1.0, 1.0, 1.0)), SHARE) == {"gold-clipped"}


def test_gold_whose_red_alone_is_full_is_not_washed_out() -> None:
    assert codes(picture((1.0, 0.7, 0.25)), SHARE) == set()


@pytest.mark.parametrize(
    ("px_per_mm", "told"), [(2.0, True), (2.9, True), (3.1, False), (12.0, False), (None, False)]
)
def test_a_picture_too_coarse_for_contacts_is_said(px_per_mm: float | None, told: bool) -> None:
    # a contact 0.7 mm wide (PCI Express footprint) is 2.1 px wide at 3 px/mm
    assert ("contacts-narrow" in codes(picture(), SHARE, px_per_mm)) is told


def test_messages_hold_the_figures() -> None:
    [item] = quality_notices(picture(), SHARE, scale(2.0))
    assert "2.0 px per mm" in item.message
    assert "1.4 px wide" in item.message
    assert item.advice
