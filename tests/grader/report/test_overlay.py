"""Pictures of a measurement: right size, right places, right colours."""

import cv2
import numpy as np
import pytest

from calibration.finishes import FINISH_RGB, FINISH_WORDS, FINISHES
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.report import coverage_png, overlay_png
from grader.report.hatching import mark_plating
from grader.report.overlay import overlay_rgb
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import KnownCoverage, box, contact_row, polygon_share, union_share

SHAPE = (400, 600)
ROW = [c * 8 for c in contact_row((20.0, 42.3), 20, 1.5, (1.0, 4.3))]
PAD = box((37.0, 15.0), 6.0, 5.0) * 8
CARD = box((37.0, 25.0), 60.0, 40.0) * 8
GREY = 90


@pytest.fixture(scope="module")
def done() -> Measurement:
    known = KnownCoverage(union_share([*ROW, PAD], SHAPE), polygon_share(CARD, SHAPE) > 0.5)
    photo = Photo("card.jpg", "cd" * 32, np.full((*SHAPE, 3), GREY, np.uint8), "JPEG")
    return measure(photo, Request(scale=ByLength(60.0, (56.0, 40.0), (536.0, 40.0)), segmenter=known))


def decoded(png: bytes) -> np.ndarray:
    assert png.startswith(b"\x89PNG")
    return np.asarray(cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_UNCHANGED))


def test_the_coverage_picture_is_the_coverage(done: Measurement) -> None:
    picture = decoded(coverage_png(done))
    assert picture.dtype == np.uint8
    assert np.array_equal(picture, done.coverage.share)


def inside(seen: np.ndarray, shape: np.ndarray) -> np.ndarray:
    """Pixels (n, 3) well inside a shape."""
    mask = polygon_share(shape.mean(axis=0) + 0.8 * (shape - shape.mean(axis=0)), seen.shape[:2]) > 0.5
    return np.asarray(seen[mask], float)


@pytest.mark.parametrize(("shape", "finish"), [(ROW[10], "hard_gold"), (PAD, "immersion_gold")])
def test_plating_bears_the_colour_of_its_finish(done: Measurement, shape: np.ndarray, finish: str) -> None:
    towards = np.array(FINISH_RGB[finish]) - GREY
    moved = np.median(inside(overlay_rgb(done), shape), axis=0) - GREY
    assert np.dot(moved, towards) / (np.linalg.norm(moved) * np.linalg.norm(towards)) > 0.99
    assert 0.2 < np.linalg.norm(moved) / np.linalg.norm(towards) < 0.6


@pytest.mark.parametrize("ground", [(213, 160, 70), (250, 245, 220), (20, 60, 40)])
@pytest.mark.parametrize("finish", FINISHES)
def test_plating_shows_without_colour_on_any_ground(ground: tuple[int, int, int], finish: str) -> None:
    """Bright and dull gold, and dark board: in grey, the hatch differs from the metal by a contrast of 2 and more."""
    picture = np.full((60, 60, 3), ground, np.uint8)
    share = np.zeros((60, 60), np.uint8)
    share[10:50, 10:50] = 255
    mark_plating(picture, finish, share)
    linear = (np.asarray(picture, float) / 255) ** 2.2 @ np.array([0.2126, 0.7152, 0.0722])
    inner = linear[12:48, 12:48]
    before = float((np.array(ground) / 255) ** 2.2 @ np.array([0.2126, 0.7152, 0.0722]))
    # contrast as in WCAG 2.2: (lighter + 0.05) / (darker + 0.05)
    contrast = (np.maximum(inner, before) + 0.05) / (np.minimum(inner, before) + 0.05)
    assert (contrast > 2).mean() > 0.02
    assert tuple(picture[0, 0]) == ground


def test_what_is_neither_plated_nor_outlined_stays_as_it_was(done: Measurement) -> None:
    seen = overlay_rgb(done)
    far = cv2.dilate((done.coverage.share > 0).astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
    for outline in (b.outline_px for b in done.regions.boards):
        ring = np.zeros(SHAPE, np.uint8)
        cv2.polylines(ring, [np.round(outline).astype(np.int32)], isClosed=True, color=1, thickness=7)
        far &= ring == 0
    assert far.mean() > 0.8
    assert np.all(seen[far] == GREY)


def test_the_boards_outline_is_drawn(done: Measurement) -> None:
    seen = overlay_rgb(done).astype(int)
    yellow = (seen[..., 0] > 180) & (seen[..., 1] > 180) & (seen[..., 2] < 130)
    ys, xs = np.nonzero(yellow)
    assert abs(xs.min() - 56) <= 4
    assert abs(ys.max() - 360) <= 4


def test_the_overlay_as_png_is_the_overlay(done: Measurement) -> None:
    assert np.array_equal(decoded(overlay_png(done))[..., ::-1], overlay_rgb(done))


@pytest.mark.parametrize(("limit", "size"), [(1600, (400, 600)), (300, (200, 300))])
def test_large_photos_are_reduced_and_small_ones_are_not(
    done: Measurement, limit: int, size: tuple[int, int]
) -> None:
    assert overlay_rgb(done, limit).shape == (*size, 3)


def test_reduced_colours_keep_their_places(done: Measurement) -> None:
    red, _, blue = np.median(inside(overlay_rgb(done, 300), PAD / 2), axis=0)
    assert blue > red + 20


def test_every_finish_has_a_word_and_its_own_colour() -> None:
    assert len(set(FINISH_RGB.values())) == len(FINISH_RGB) == len(FINISH_WORDS)
