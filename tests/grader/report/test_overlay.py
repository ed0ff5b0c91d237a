"""Pictures of a measurement: right size, right places, right colours."""

import cv2
import numpy as np
import pytest

from calibration.finishes import FINISH_RGB, FINISH_WORDS
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.report import coverage_png, overlay_png
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


@pytest.mark.parametrize(("place", "finish"), [((296, 120), "hard_gold"), ((296, 120), "immersion_gold")])
def test_plating_bears_the_colour_of_its_finish(done: Measurement, place: tuple[int, int], finish: str) -> None:
    x, y = (160, 338) if finish == "hard_gold" else place
    seen = overlay_rgb(done)[y, x].astype(float)
    towards = np.array(FINISH_RGB[finish]) - GREY  # type: ignore[index]
    moved = seen - GREY
    assert np.dot(moved, towards) / (np.linalg.norm(moved) * np.linalg.norm(towards)) > 0.99
    assert 0.4 < np.linalg.norm(moved) / np.linalg.norm(towards) < 0.9


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
    seen = overlay_rgb(done, 300)[60, 148].astype(int)
    assert seen[2] > seen[0] + 30


def test_every_finish_has_a_word_and_its_own_colour() -> None:
    assert len(set(FINISH_RGB.values())) == len(FINISH_RGB) == len(FINISH_WORDS)
