"""Edge pixels by mixing two colours: areas come out right from a mask that is not."""

import cv2
import numpy as np
import pytest

from grader.coverage.unmix import unmix_edges
from tests.drawn_boards import GOLD, GREEN_MASK, LAMINATE, box, contact_row, paint, polygon_share, union_share

SHAPE = (90, 110)
WHOLE = np.ones(SHAPE)


def grown(mask: np.ndarray, by_px: int) -> np.ndarray:
    """The mask one or more pixels larger (or smaller) all round."""
    element = np.ones((3, 3), np.uint8)
    change = cv2.dilate if by_px > 0 else cv2.erode
    return change(mask.astype(np.uint8), element, iterations=abs(by_px)) > 0 if by_px else mask


def areas(
    off_px: int,
    *,
    size: tuple[float, float] = (11.0, 60.0),
    blur_px: float = 0.5,
    noise: float = 0.0,
    band_px: int | None = None,
    ground: tuple[float, float, float] = GREEN_MASK,
) -> np.ndarray:
    """Found over true area of a contact at 24 places and angles, from a mask that is ``off_px`` too large."""
    rng = np.random.default_rng(5)
    out = []
    for number in range(24):
        corners = box((55 + rng.uniform(-1, 1), 45 + rng.uniform(-1, 1)), *size, angle_deg=rng.uniform(0, 180))
        share = polygon_share(corners, SHAPE)
        rgb = paint([(WHOLE, ground), (share, GOLD)], blur_px=blur_px, noise=noise, seed=number)
        mask = grown(share > 0.5, off_px)
        found = unmix_edges(rgb, mask, px_per_mm=16.0, band_px=band_px or 1 + abs(off_px))
        out.append(found.sum() / 255 / (size[0] * size[1]))
    return np.array(out)


@pytest.mark.parametrize("off_px", [-1, 0, 1])
@pytest.mark.parametrize(("blur_px", "bias", "worst"), [(0.3, 0.003, 0.005), (0.6, 0.006, 0.01), (0.9, 0.015, 0.02)])
def test_area_is_right_whether_the_mask_is_a_pixel_too_large_or_too_small(
    off_px: int, blur_px: float, bias: float, worst: float
) -> None:
    # a contact 0.7 mm wide at 16 px/mm: counting the mask's pixels would be 16 to 18 % off
    found = areas(off_px, blur_px=blur_px)
    assert abs(found.mean() - 1) < bias
    assert np.all(np.abs(found - 1) < worst)


@pytest.mark.parametrize("blur_px", [0.3, 0.9, 1.5])
def test_blur_does_not_matter_to_a_true_mask(blur_px: float) -> None:
    assert abs(areas(0, blur_px=blur_px).mean() - 1) < 0.003


def test_counting_the_mask_instead_would_be_far_off() -> None:
    """The very masks of the test above, so that it is known to test something."""
    share = polygon_share(box((55.0, 45.0), 11.0, 60.0, 20.0), SHAPE)
    assert grown(share > 0.5, 1).sum() / share.sum() > 1.15
    assert grown(share > 0.5, -1).sum() / share.sum() < 0.85


def test_noise_adds_no_bias_worth_speaking_of() -> None:
    assert abs(areas(0, noise=3.0).mean() - 1) < 0.003


def test_on_bare_laminate_too() -> None:
    assert abs(areas(1, ground=LAMINATE).mean() - 1) < 0.01


@pytest.mark.parametrize(("width", "tolerance"), [(7.0, 0.005), (4.0, 0.01), (3.0, 0.02)])
def test_narrow_contacts_from_a_true_mask(width: float, tolerance: float) -> None:
    assert abs(areas(0, size=(width, 50.0), blur_px=0.4).mean() - 1) < tolerance


@pytest.mark.parametrize(
    ("px_per_mm", "blur_px", "tolerance"),
    [(16.0, 0.4, 0.005), (16.0, 0.8, 0.01), (10.0, 0.4, 0.01), (10.0, 0.8, 0.035)],
)
def test_contacts_side_by_side(px_per_mm: float, blur_px: float, tolerance: float) -> None:
    """PCI Express contacts: 0.3 mm between them, so that at 10 px/mm blur leaves no pure colour there."""
    shape = (round(9 * px_per_mm), round(16 * px_per_mm))
    found = []
    for shift in (0.0, 0.03, 0.06):
        row = contact_row((3.0 + shift, 4.5 + shift), 11, 1.0, (0.7, 4.3))
        share = union_share([c * px_per_mm for c in row], shape)
        rgb = paint([(np.ones(shape), GREEN_MASK), (share, GOLD)], blur_px=blur_px)
        found.append(unmix_edges(rgb, share > 0.5, px_per_mm).sum() / 255 / share.sum())
    assert abs(np.mean(found) - 1) < tolerance


def test_each_edge_pixel_shows_its_share() -> None:
    share = polygon_share(box((40.3, 45.0), 20.0, 40.0), SHAPE)
    rgb = paint([(WHOLE, GREEN_MASK), (share, GOLD)])
    found = unmix_edges(rgb, share > 0.5, px_per_mm=16.0) / 255
    np.testing.assert_allclose(found, share, atol=0.02)


def test_nothing_in_gives_nothing_out_and_everything_stays() -> None:
    rgb = paint([(WHOLE, GREEN_MASK)])
    assert not unmix_edges(rgb, np.zeros(SHAPE, bool), 10.0).any()
    assert np.all(unmix_edges(rgb, np.ones(SHAPE, bool), 10.0) == 255)


def test_where_the_colours_are_alike_the_mask_decides() -> None:
    mask = polygon_share(box((55.0, 45.0), 20.0, 40.0), SHAPE) > 0.5
    found = unmix_edges(paint([(WHOLE, GOLD)]), mask, 10.0)
    assert np.array_equal(found, np.where(mask, 255, 0))


def test_strips_of_a_tall_picture_join_without_a_seam() -> None:
    shape = (700, 60)
    share = polygon_share(box((30.2, 350.4), 12.0, 640.0), shape)
    rgb = paint([(np.ones(shape), GREEN_MASK), (share, GOLD)], blur_px=0.5)
    found = unmix_edges(rgb, share > 0.5, 16.0)
    assert np.ptp(found[60:640].astype(int), axis=0).max() <= 1
    turned = unmix_edges(np.ascontiguousarray(np.rot90(rgb)), np.rot90(share) > 0.5, 16.0)
    assert np.abs(np.rot90(turned, -1).astype(int) - found).max() <= 1


def test_a_region_at_the_frames_edge_keeps_its_pixels() -> None:
    share = polygon_share(box((0.0, 45.0), 30.0, 40.0), SHAPE)
    rgb = paint([(WHOLE, GREEN_MASK), (share, GOLD)], blur_px=0.4)
    found = unmix_edges(rgb, share > 0.5, 16.0) / 255
    assert found[45, 0] == 1
    assert found.sum() == pytest.approx(share.sum(), rel=0.01)
