"""Checks of a photo: each fires for what it is for, and for nothing else."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.errors import ScaleError
from calibration.notices import notice
from calibration.packaged import packaged_toml
from calibration.sourced import load_figures
from grader.photo import Photo
from grader.photo_advice import CHECKS, HOW, Check
from grader.photo_advice.advise import advise, advise_on
from grader.photo_advice.blur import FWHM, blur_px
from grader.photo_advice.light import light_ratio
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import ByLength, WithoutScale
from tests.drawn_boards import GREEN_MASK, TABLE, KnownCoverage, box, contact_row, paint, polygon_share, union_share

SHAPE = (480, 640)
PX_PER_MM = 10.0
GOLD = (0.80, 0.60, 0.25)
CARD = box((320.0, 240.0), 440.0, 240.0)
ROW = union_share([c * PX_PER_MM for c in contact_row((14.0, 33.0), 34, 1.0, (0.7, 4.3))], SHAPE)
BOARD = polygon_share(CARD, SHAPE)
LENGTH = ByLength(44.0, tuple(CARD[0]), tuple(CARD[1]))
Rgb = NDArray[np.uint8]


def photo(rgb: Rgb) -> Photo:
    return Photo("card.png", "ab" * 32, rgb, "PNG", 600.0)


def drawn(blur: float = 0.6) -> Rgb:
    return paint([(np.ones(SHAPE), TABLE), (BOARD, GREEN_MASK), (ROW, GOLD)], blur_px=blur, noise=1.0, seed=1)


def done(rgb: Rgb, choice: Any = LENGTH) -> Measurement:
    return measure(photo(rgb), Request(choice, segmenter=KnownCoverage(ROW, BOARD > 0.5)))


def checks(measurement: Measurement) -> dict[str, Check]:
    return {check.name: check for check in advise_on(measurement)}


def bad(measurement: Measurement) -> set[str]:
    return {name for name, check in checks(measurement).items() if check.is_good is False}


def lit(rgb: Rgb, factor: Any) -> Rgb:
    """The photo with its light multiplied, in linear light."""
    code = rgb / 255
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4) * factor
    back = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
    return np.clip(np.round(back * 255), 0, 255).astype(np.uint8)


# --- the checks


def test_a_good_photo_passes_all_that_it_can_tell() -> None:
    found = checks(done(drawn()))
    assert tuple(found) == CHECKS
    assert {name: check.is_good for name, check in found.items()} == {
        "sharpness": True, "resolution": True, "highlights": True, "tilt": None, "target": None, "light": True,
    }  # fmt: skip
    assert all(check.sentence and check.advice == HOW[check.name].advice for check in found.values())
    assert not any(check.notices for check in found.values())


def test_a_blurred_photo_fails_for_its_sharpness_alone_and_says_by_how_much() -> None:
    assert bad(done(drawn(4.0))) == {"sharpness"}
    check = checks(done(drawn(4.0)))["sharpness"]
    # 4 px of blur over contacts 7 px wide; at a pitch of 10 px the edges of neighbours blend
    assert check.value == pytest.approx(FWHM * 4.0 / 7.0, rel=0.2)
    assert [n.code for n in check.notices] == ["photo-blurred"]


def test_a_coarse_photo_fails_for_its_resolution() -> None:
    coarse = replace(LENGTH, length_mm=LENGTH.length_mm * 5)
    check = checks(done(drawn(), coarse))["resolution"]
    assert check.is_good is False
    assert check.value == pytest.approx(PX_PER_MM / 5, rel=0.02)
    assert [n.code for n in check.notices] == ["contacts-narrow"]


def test_washed_out_gold_fails_for_its_highlights_alone() -> None:
    rgb = drawn().copy()
    rgb[ROW > 0.5] = 255
    assert bad(done(rgb)) == {"highlights"}
    assert checks(done(rgb))["highlights"].value == pytest.approx(1.0, abs=0.01)


def test_a_deep_shadow_fails_for_the_light_alone() -> None:
    ramp = 1 / (1 + np.exp((np.arange(SHAPE[1]) - 250) / 6.0))
    dark = lit(drawn(), (0.012 + 0.988 * ramp)[None, :, None])
    assert bad(done(dark)) == {"light"}


def test_a_tilted_or_hidden_target_fails() -> None:
    measured = done(drawn())
    assert measured.scale is not None
    told = (notice("target-partly-seen", seen=12, total=24), notice("target-bent", residual_px=2.0, residual_mm=0.2))
    scale = replace(measured.scale, method="target", tilt_deg=31.0, notices=told)
    found = {c.name: c for c in advise(measured.photo, scale, coverage=measured.coverage, regions=measured.regions)}
    assert found["tilt"].is_good is False
    assert found["tilt"].value == 31.0
    assert found["target"].is_good is False
    assert found["target"].value == 0.5
    assert {n.code for n in found["target"].notices} == {"target-partly-seen", "target-bent"}
    whole = replace(scale, notices=(), tilt_deg=3.0)
    assert all(c.is_good is not False for c in advise(measured.photo, whole, coverage=measured.coverage))


def test_a_target_that_had_to_be_refused_fails_with_its_reason() -> None:
    error = ScaleError("target-too-little", "Only 3 corners are in sight.", "Lay it flat.")
    target = next(c for c in advise(photo(drawn()), refused=error) if c.name == "target")
    assert target.is_good is False
    assert target.sentence == error.message


def test_without_scale_or_coverage_only_what_shows_is_judged() -> None:
    alone = {c.name: c.is_good for c in advise(photo(drawn()))}
    assert set(alone.values()) == {None}
    found = checks(done(drawn(), WithoutScale()))
    assert found["resolution"].is_good is None
    assert found["sharpness"].is_good is True  # the row itself tells how wide its contacts are


def test_checks_go_into_documents_as_plain_values() -> None:
    for check in advise_on(done(drawn(4.0))):
        document = check.as_json()
        assert set(document) == {
            "check", "title", "value", "unit", "limit", "is_good", "sentence", "advice", "codes",
        }  # fmt: skip
        assert document["is_good"] in (True, False, None)
        assert set(document["codes"]) <= set(packaged_toml("grader", "codes.toml")["warning"])


@pytest.mark.parametrize(
    "key", ["contact_width", "contact_px_least", "clipped_code", "clipped_share", "blur_over_contact", "light_ratio"]
)
def test_every_limit_says_where_it_comes_from(key: str) -> None:
    figure = load_figures("photo_figures")[key]
    assert figure.value > 0
    assert len(figure.source) > 30


# --- blur: a known blur is measured, whatever the picture is turned, scaled in contrast or noisy


def edges(blur: float, contrast: float = 100.0, noise: float = 0.0, angle: float = 7.0) -> Rgb:
    """Squares well apart, drawn eightfold, blurred by a known Gaussian."""
    fine = np.full((8 * 240, 8 * 320), 120.0 - contrast / 2, np.float32)
    for y in (60, 180):
        for x in (80, 240):
            corners = cv2.boxPoints(((8 * x + 3.5, 8 * y + 3.5), (8 * 60, 8 * 60), angle))
            cv2.fillPoly(fine, [np.round(corners).astype(np.int32)], 120.0 + contrast / 2)
    fine = cv2.GaussianBlur(fine, (0, 0), 8 * blur)
    small = cv2.resize(fine, (320, 240), interpolation=cv2.INTER_AREA)
    small += np.random.default_rng(3).normal(0, noise, small.shape).astype(np.float32)
    return np.repeat(np.clip(np.round(small), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("blur", [0.8, 1.2, 2.0, 3.0, 4.5, 7.0])
@pytest.mark.parametrize("angle", [0.0, 7.0, 33.0])
def test_a_known_blur_is_measured(blur: float, angle: float) -> None:
    # the picture's own pixels average over one pixel, too
    assert blur_px(edges(blur, angle=angle)) == pytest.approx(np.hypot(blur, np.sqrt(1 / 12)), rel=0.12)


@pytest.mark.parametrize("change", [{"contrast": 60.0}, {"contrast": 180.0}, {"noise": 2.0}])
def test_contrast_and_noise_hardly_move_it(change: dict[str, float]) -> None:
    assert blur_px(edges(2.0, **change)) == pytest.approx(blur_px(edges(2.0)), rel=0.15)


def test_where_edges_count_is_respected() -> None:
    rgb = np.concatenate([edges(1.0), edges(4.0)], axis=1)
    left = np.zeros(rgb.shape[:2], bool)
    left[:, :320] = True
    assert blur_px(rgb, left) == pytest.approx(1.0, rel=0.2)
    assert blur_px(rgb, ~left) == pytest.approx(4.0, rel=0.2)


def test_a_picture_of_nothing_has_no_sharpness() -> None:
    assert blur_px(np.full((200, 300, 3), 90, np.uint8)) is None
    noise = np.random.default_rng(1).normal(90, 3, (200, 300, 1))
    assert blur_px(np.repeat(np.clip(noise, 0, 255).astype(np.uint8), 3, axis=2)) is None
    assert blur_px(np.zeros((8, 8, 3), np.uint8)) is None


# --- light


def test_the_ratio_is_that_of_the_light() -> None:
    rgb = np.full((240, 320, 3), 200, np.uint8)
    factor = np.where(np.arange(320) < 100, 0.1, 1.0)[None, :, None]
    assert light_ratio(lit(rgb, factor), np.zeros((240, 320), bool)) == pytest.approx(10, rel=0.05)


def test_boards_and_targets_are_no_ground() -> None:
    rgb = np.full((240, 320, 3), 120, np.uint8)
    board = np.zeros((240, 320), bool)
    board[40:120, 40:160] = True
    rgb[board] = 10
    sheet = np.array([[200, 100], [300, 100], [300, 200], [200, 200]], np.float64)
    rgb[100:201, 200:301] = 255
    assert light_ratio(rgb, board, [sheet]) == pytest.approx(1.0, abs=0.02)
    assert light_ratio(rgb, np.ones((240, 320), bool)) is None


def test_it_does_not_depend_on_the_picture_s_size_or_brightness() -> None:
    ramp = np.linspace(0.1, 1.0, 1200)[None, :, None]
    rgb = lit(np.full((900, 1200, 3), 220, np.uint8), ramp)
    none = np.zeros((900, 1200), bool)
    whole = light_ratio(rgb, none)
    assert light_ratio(cv2.resize(rgb, (600, 450), interpolation=cv2.INTER_AREA), none[::2, ::2]) == pytest.approx(
        whole, rel=0.05
    )
    assert light_ratio(lit(rgb, 0.5), none) == pytest.approx(whole, rel=0.05)
