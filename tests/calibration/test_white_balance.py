"""White balance: known casts are taken out, and what cannot tell is left out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.scale import GreyPatch
from calibration.white_balance import MAX_LOG2_GAIN, WhiteBalance, estimate, from_grey_patches, to_linear

REFLECTANCES = (0.1, 0.18, 0.32, 0.5)


def encode(linear: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, written out again."""
    codes = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    return np.clip(np.round(255 * codes), 0, 255).astype(np.uint8)


def chart(cast: tuple[float, float, float], exposure: float = 1.0) -> tuple[np.ndarray, tuple[GreyPatch, ...]]:
    """Grey patches 20 px wide on a coloured ground, under a coloured light."""
    linear = np.tile(np.array([0.05, 0.3, 0.1]), (40, 140, 1))
    patches = []
    for i, reflectance in enumerate(REFLECTANCES):
        x = 10 + 30 * i
        linear[10:30, x : x + 20] = reflectance
        outline = np.array([[x + 3, 13], [x + 16, 13], [x + 16, 26], [x + 3, 26]], np.float64)
        patches.append(GreyPatch(reflectance, outline))
    return encode(linear * exposure * np.array(cast)), tuple(patches)


def test_linear_light_at_the_ends_and_at_the_standards_middle() -> None:
    assert to_linear(np.array([0, 255], np.uint8)).tolist() == [0.0, 1.0]
    # code 119 is the one nearest 18.4 % (IEC 61966-2-1 by hand: ((119/255 + 0.055)/1.055)^2.4)
    assert to_linear(np.array([119], np.uint8))[0] == pytest.approx(0.18447, abs=1e-5)


def test_linear_light_keeps_shape_and_order() -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    linear = to_linear(codes)
    assert linear.shape == (16, 16)
    assert linear.dtype == np.float32
    assert np.all(np.diff(linear.ravel()) > 0)


@given(red=st.floats(0.6, 1.6), blue=st.floats(0.6, 1.6), exposure=st.floats(0.5, 1.1))
@settings(max_examples=40, deadline=None)
def test_a_cast_seen_on_grey_patches_is_taken_out(red: float, blue: float, exposure: float) -> None:
    rgb, patches = chart((red, 1.0, blue), exposure)
    balance = from_grey_patches(rgb, patches)
    assert balance is not None
    assert balance.method == "grey patches"
    # codes are whole numbers: a patch of 10 % at half exposure is known to about 2 %
    assert balance.gains[0] * red == pytest.approx(1, abs=0.03)
    assert balance.gains[1] == 1
    assert balance.gains[2] * blue == pytest.approx(1, abs=0.03)
    grey = balance.apply(to_linear(rgb))[20, 110]
    assert np.ptp(grey) < 0.03 * grey.mean()


def test_clipped_and_black_patches_do_not_count() -> None:
    rgb, patches = chart((1.5, 1.0, 1.0), exposure=1.9)
    assert rgb[20, 110, 0] == 255
    balance = from_grey_patches(rgb, patches)
    assert balance is not None
    assert balance.gains[0] * 1.5 == pytest.approx(1, abs=0.03)
    assert from_grey_patches(np.zeros_like(rgb), patches) is None
    assert from_grey_patches(np.full_like(rgb, 255), patches) is None


def test_one_patch_is_too_few_and_one_outside_the_photo_does_not_count() -> None:
    rgb, patches = chart((1.3, 1.0, 0.8))
    assert from_grey_patches(rgb, patches[:1]) is None
    assert from_grey_patches(rgb, ()) is None
    outside = GreyPatch(0.5, patches[0].polygon_px + np.array([130.0, 0.0]))
    assert from_grey_patches(rgb, (patches[0], outside)) is None


def test_a_patch_of_few_pixels_does_not_count() -> None:
    rgb, patches = chart((1.0, 1.0, 1.0))
    tiny = tuple(GreyPatch(p.reflectance, p.polygon_px[0] + [[0, 0], [4, 0], [4, 4], [0, 4]]) for p in patches)
    assert from_grey_patches(rgb, tiny) is None


def test_one_wrong_patch_of_four_does_not_turn_the_balance() -> None:
    rgb, patches = chart((1.2, 1.0, 0.8))
    rgb[10:30, 10:30] = (200, 40, 40)
    balance = from_grey_patches(rgb, patches)
    assert balance is not None
    assert balance.gains[0] * 1.2 == pytest.approx(1, abs=0.04)


def test_gains_stay_within_their_limit() -> None:
    rgb, patches = chart((4.0, 1.0, 0.2), exposure=0.35)
    balance = from_grey_patches(rgb, patches)
    assert balance is not None
    assert balance.gains[0] == pytest.approx(2.0**-MAX_LOG2_GAIN)
    assert balance.gains[2] == pytest.approx(2.0**MAX_LOG2_GAIN)


def grey_scene(cast: tuple[float, float, float]) -> np.ndarray:
    rng = np.random.default_rng(3)
    return encode(rng.uniform(0.02, 0.5, (60, 80, 1)) * np.array(cast))


def test_the_estimate_leaves_a_grey_picture_alone() -> None:
    balance = estimate(grey_scene((1, 1, 1)))
    assert balance.method == "estimate"
    np.testing.assert_allclose(balance.gains, 1, atol=0.01)


@pytest.mark.parametrize("cast", [(1.4, 1.0, 0.7), (0.7, 1.0, 1.4)])
def test_the_estimate_moves_towards_grey_without_going_past_it(cast: tuple[float, float, float]) -> None:
    gains = np.array(estimate(grey_scene(cast)).gains)
    left = np.log2(gains * np.array(cast))[[0, 2]]
    whole = np.log2(cast)[[0, 2]]
    assert np.all(np.abs(left) < 0.5 * np.abs(whole))
    assert np.all(left * whole > 0)


def test_the_estimate_does_not_hang_on_turning_the_picture_or_on_its_size() -> None:
    rgb = grey_scene((1.3, 1.0, 0.8))
    upright = np.array(estimate(rgb).gains)
    np.testing.assert_allclose(estimate(np.ascontiguousarray(np.rot90(rgb))).gains, upright, rtol=1e-9)
    large = np.repeat(np.repeat(rgb, 10, axis=0), 10, axis=1)
    np.testing.assert_allclose(estimate(large).gains, upright, rtol=0.02)


def test_a_washed_out_picture_is_left_alone() -> None:
    assert estimate(np.full((50, 50, 3), 255, np.uint8)) == WhiteBalance((1.0, 1.0, 1.0), "estimate")


def test_a_black_picture_is_left_alone() -> None:
    np.testing.assert_allclose(estimate(np.zeros((50, 50, 3), np.uint8)).gains, 1)
