"""What the segmenter in use must fulfil, on cuttings of the sample photos with known coverage."""

import json
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.coverage.choose import segmenter_named
from grader.photo import Photo, load_photo

SAMPLES = Path(__file__).parents[3] / "sample_images"
# top left corners of cuttings 500 × 700 px with gold in them, and none
CUTTINGS = {"strip-boards": (13, 1017), "breakout-pads": (574, 1300), "no-gold": (350, 650)}


@cache
def cutting(name: str) -> tuple[np.ndarray, np.ndarray, float]:
    """Photo, true coverage (0..1) and px per mm."""
    truth = json.loads((SAMPLES / "truth.json").read_text("utf-8"))[name]
    y, x = CUTTINGS[name]
    place = (slice(y, y + 500), slice(x, x + 700))
    gold = cv2.imread(str(SAMPLES / truth["gold_mask"]), cv2.IMREAD_GRAYSCALE)
    return load_photo(SAMPLES / truth["image"]).rgb[place].copy(), gold[place] / 255, truth["px_per_mm"]


def segment(rgb: np.ndarray, px_per_mm: float | None) -> Coverage:
    photo = Photo("cutting.png", "ef" * 32, np.ascontiguousarray(rgb), "PNG")
    scale = Scale("length", UniformPlane(px_per_mm), px_per_mm, ()) if px_per_mm else None
    return segmenter_named().segment(photo, scale)


@cache
def usual(sample: str) -> Coverage:
    rgb, _, px_per_mm = cutting(sample)
    return segment(rgb, px_per_mm)


def claimed(found: Coverage) -> float:
    """Half the width of the 95 % range of the error that the segmenter claims, as a log ratio."""
    return float(1.96 * np.std(np.log(np.prod([i.draws(4000) for i in found.area_inputs], axis=0))))


def test_the_interface() -> None:
    rgb, _, _ = cutting("strip-boards")
    found = usual("strip-boards")
    assert found.share.dtype == np.uint8
    assert found.share.shape == found.board.shape == rgb.shape[:2]
    assert found.board.dtype == bool
    assert found.segmenter == segmenter_named().name
    assert {i.name for i in found.area_inputs} == {"segmentation:" + ("ef" * 32)[:12]}
    assert found.contact is None or (found.contact.shape == rgb.shape[:2] and found.contact.dtype == np.uint8)


@pytest.mark.parametrize("sample", ["strip-boards", "breakout-pads"])
def test_true_area_lies_in_the_range_that_is_claimed_and_the_place_is_right(sample: str) -> None:
    _, gold, _ = cutting(sample)
    found = usual(sample)
    share = found.share / 255
    assert abs(np.log(share.sum() / gold.sum())) < claimed(found)
    assert np.minimum(share, gold).sum() / np.maximum(share, gold).sum() > 0.7


def test_edges_are_shares_and_not_a_mask() -> None:
    share = usual("strip-boards").share
    assert np.mean((share > 20) & (share < 235)) > 0.2 * np.mean(share > 127)


def test_plating_lies_on_boards() -> None:
    found = usual("strip-boards")
    assert found.board[found.share > 127].mean() > 0.95


def test_tin_copper_and_brass_are_not_called_gold() -> None:
    found = usual("no-gold")
    assert found.share.mean() / 255 < 0.002
    assert found.share.any() or "no-gold-found" in {n.code for n in found.notices}


def test_the_same_photo_gives_the_same_coverage() -> None:
    rgb, _, px_per_mm = cutting("strip-boards")
    assert np.array_equal(segment(rgb, px_per_mm).share, usual("strip-boards").share)


@pytest.mark.parametrize("change", ["turn", "half turn", "mirror"])
def test_turning_and_mirroring_leave_the_area_alone(change: str) -> None:
    rgb, _, px_per_mm = cutting("strip-boards")
    other = {"turn": np.rot90(rgb), "half turn": rgb[::-1, ::-1], "mirror": rgb[:, ::-1]}[change]
    found = segment(other, px_per_mm)
    # a network is not made to be the same in all directions
    assert found.share.sum() == pytest.approx(usual("strip-boards").share.sum(dtype=np.int64), rel=0.05)


@pytest.mark.parametrize("gain", [0.85, 1.15])
def test_brightness_changes_the_area_by_less_than_is_claimed(gain: float) -> None:
    rgb, _, px_per_mm = cutting("strip-boards")
    found = segment(np.clip(rgb * gain, 0, 255).astype(np.uint8), px_per_mm)
    ratio = found.share.sum() / usual("strip-boards").share.sum()
    assert abs(np.log(ratio)) < min(0.1, claimed(found))


def test_a_smaller_cutting_changes_the_area_in_it_by_less_than_is_claimed() -> None:
    rgb, _, px_per_mm = cutting("strip-boards")
    part = (slice(40, -40), slice(60, -60))
    found = segment(rgb[part], px_per_mm)
    ratio = found.share.sum() / usual("strip-boards").share[part].sum()
    assert abs(np.log(ratio)) < min(0.1, claimed(found))


def test_half_the_resolution_changes_the_area_by_less_than_is_claimed() -> None:
    rgb, _, px_per_mm = cutting("strip-boards")
    half = cv2.resize(rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = segment(half, px_per_mm / 2)
    ratio = 4 * found.share.sum() / usual("strip-boards").share.sum()
    assert abs(np.log(ratio)) < min(0.25, claimed(found))


def test_works_without_scale() -> None:
    rgb, gold, _ = cutting("strip-boards")
    found = segment(rgb, None)
    share = found.share / 255
    assert np.minimum(share, gold).sum() / np.maximum(share, gold).sum() > 0.5


@pytest.mark.parametrize("shape", [(1, 1), (3, 500), (40, 40)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_tiny_and_empty_pictures_are_no_trouble(shape: tuple[int, int], level: int) -> None:
    found = segment(np.full((*shape, 3), level, np.uint8), 10.0)
    assert found.share.shape == shape
    assert not found.share.any()
