"""The classical segmenter on drawn boards, and its steps."""

import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import GreyPatch, Scale
from grader.coverage import Coverage
from grader.coverage.classical import (
    WORK_PX_PER_MM,
    WORK_SIDE_PX,
    ClassicalSegmenter,
    hidden_mask,
    white_balance,
    work_picture,
)
from grader.coverage.features import PIXEL_FEATURES, REGION_FEATURES, describe_regions, pixel_features
from grader.photo import Photo
from grader.synthetic import GREEN_MASK, TABLE, Rgb, box, contact_row, paint, polygon_share, union_share

PX_PER_MM = 10.0
SHAPE = (600, 900)
BRIGHT_GOLD: Rgb = (0.80, 0.60, 0.25)
TIN: Rgb = (0.60, 0.60, 0.58)
COPPER: Rgb = (0.55, 0.22, 0.12)
WHITE_PRINT: Rgb = (0.80, 0.80, 0.78)
CARD = box((45.0, 28.0), 70.0, 36.0) * PX_PER_MM
# PCI Express contacts (published footprint)
ROW = union_share([c * PX_PER_MM for c in contact_row((20.0, 42.5), 50, 1.0, (0.7, 4.3))], SHAPE)


def scale(px_per_mm: float = PX_PER_MM, **known: object) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, (), **known)  # type: ignore[arg-type]


def drawn(metal: Rgb, cast: Rgb = (1.0, 1.0, 1.0)) -> np.ndarray:
    def lit(colour: Rgb) -> Rgb:
        red, green, blue = np.array(colour) * cast
        return float(red), float(green), float(blue)

    layers = [(np.ones(SHAPE), lit(TABLE)), (polygon_share(CARD, SHAPE), lit(GREEN_MASK)), (ROW, lit(metal))]
    return paint(layers, blur_px=0.7, noise=2.0)


def segment(rgb: np.ndarray, known: Scale | None) -> Coverage:
    return ClassicalSegmenter().segment(Photo("drawn.png", "0" * 64, rgb, "PNG"), known)


def test_contacts_of_a_drawn_board_are_found() -> None:
    """Flat colours are far from what it was fitted to: 15 % in area and 0.75 of common area are asked, no more."""
    found = segment(drawn(BRIGHT_GOLD), scale()).share / 255
    assert found.sum() == pytest.approx(ROW.sum(), rel=0.15)
    assert np.minimum(found, ROW).sum() / np.maximum(found, ROW).sum() > 0.75


@pytest.mark.parametrize("metal", [TIN, COPPER, WHITE_PRINT, GREEN_MASK])
def test_other_metals_and_print_are_not_gold(metal: Rgb) -> None:
    found = segment(drawn(metal), scale())
    assert not found.share.any()
    assert {n.code for n in found.notices} == {"no-gold-found"}
    assert found.area_inputs == ()


def test_the_board_is_outlined_with_its_contacts() -> None:
    found = segment(drawn(BRIGHT_GOLD), scale()).board
    truth = polygon_share(CARD, SHAPE) > 0.5
    assert (found & truth).sum() / (found | truth).sum() > 0.95


def test_nothing_is_found_on_the_target() -> None:
    sheet = np.array([[150.0, 380.0], [750.0, 380.0], [750.0, 480.0], [150.0, 480.0]])
    assert not segment(drawn(BRIGHT_GOLD), scale(target_px=(sheet,))).share.any()


def test_the_hidden_mask_is_the_sheets_outline() -> None:
    sheet = np.array([[100.0, 50.0], [300.0, 50.0], [300.0, 150.0], [100.0, 150.0]])
    mask = hidden_mask((400, 600, 3), scale(target_px=(sheet,)))
    assert int(mask.sum()) == pytest.approx(200 * 100, rel=0.02)
    assert mask[100, 200] == 1
    assert not hidden_mask((400, 600, 3), None).any()


def test_grey_patches_in_sight_decide_the_balance() -> None:
    rgb = drawn(BRIGHT_GOLD, cast=(1.3, 1.0, 0.7))
    outlines = [np.array([[x, 5.0], [x + 20, 5.0], [x + 20, 25.0], [x, 25.0]]) for x in (10.0, 40.0, 70.0)]
    balance = white_balance(rgb, scale(grey_patches=tuple(GreyPatch(0.3, o) for o in outlines)))
    assert balance.method == "grey patches"
    # the table that the patches lie on is (0.30, 0.30, 0.31)
    assert balance.gains == pytest.approx((1 / 1.3, 1.0, 30 / 31 / 0.7), rel=0.03)
    assert white_balance(rgb, None).method == "estimate"
    assert white_balance(rgb, scale()).method == "estimate"


@pytest.mark.parametrize(("px_per_mm", "width"), [(5.0, 900), (40.0, 900), (20.0, 4000), (None, 4000)])
def test_the_picture_that_is_searched_is_never_larger_than_asked(px_per_mm: float | None, width: int) -> None:
    rgb = np.full((width * 2 // 3, width, 3), 120, np.uint8)
    work = work_picture(rgb, scale(px_per_mm) if px_per_mm else None)
    assert max(work.rgb.shape) <= WORK_SIDE_PX
    assert work.linear.shape == work.rgb.shape
    assert work.hidden.shape == work.rgb.shape[:2]
    assert work.rgb.shape[1] == round(width * work.factor)
    if px_per_mm:
        assert work.px_per_mm <= WORK_PX_PER_MM + 1e-9
        assert work.px_per_mm == pytest.approx(px_per_mm * work.factor)


def test_pixel_features_of_an_even_picture_show_no_contrast() -> None:
    pixels = pixel_features(np.full((50, 60, 3), 0.25, np.float32), 10.0)
    assert pixels.shape == (50, 60, len(PIXEL_FEATURES))
    by_name = dict(zip(PIXEL_FEATURES, np.moveaxis(pixels, -1, 0), strict=True))
    for name, plane in by_name.items():
        if name == "light":
            np.testing.assert_allclose(plane, -2, atol=0.05)
        elif name == "saturation":
            np.testing.assert_allclose(plane, 0, atol=0.02)
        else:
            np.testing.assert_allclose(plane, 0, atol=1e-3)


def test_exposure_moves_lightness_alone() -> None:
    linear = np.random.default_rng(0).uniform(0.1, 0.4, (40, 40, 3)).astype(np.float32)
    change = np.abs(pixel_features(2 * linear, 10.0) - pixel_features(linear, 10.0)).mean(axis=(0, 1))
    moved = dict(zip(PIXEL_FEATURES, change, strict=True))
    assert moved.pop("light") == pytest.approx(1, abs=0.05)
    assert max(moved.values()) < 0.05


def test_regions_are_described_alike_at_two_resolutions() -> None:
    def table(k: int) -> np.ndarray:
        shape = (60 * k, 90 * k)
        contacts = union_share([c * k - 0.5 for c in contact_row((30.0, 30.0), 6, 3.7, (2.0, 12.0))], shape)
        light = (0.1 + 0.4 * contacts)[..., None] * np.array([1.0, 0.8, 0.4])
        pixels = pixel_features(light.astype(np.float32), float(k))
        found = describe_regions(pixels, (contacts - 0.5).astype(np.float32), float(k))
        assert found.features.shape == (6, len(REGION_FEATURES))
        return found.features

    coarse, fine = (dict(zip(REGION_FEATURES, table(k).mean(axis=0), strict=True)) for k in (6, 12))
    assert np.exp(fine["log_area"]) == pytest.approx(24, rel=0.02)
    assert np.exp(fine["log_aspect"]) == pytest.approx(6, rel=0.02)
    for name in ("log_area", "log_aspect", "rectangularity", "solidity", "red", "blue", "red_contrast", "log_alike"):
        assert coarse[name] == pytest.approx(fine[name], abs=0.06), name


def test_no_region_gives_an_empty_table() -> None:
    pixels = pixel_features(np.full((50, 60, 3), 0.25, np.float32), 10.0)
    table = describe_regions(pixels, np.full((50, 60), -1, np.float32), 10.0)
    assert table.features.shape == (0, len(REGION_FEATURES))
    assert not table.labels.any()
