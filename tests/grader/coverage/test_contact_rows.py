"""Doubtful rows of contacts are drawn evenly: their contacts part, their area stays, and nothing else changes."""

from collections.abc import Iterable
from functools import cache

import cv2
import numpy as np
import pytest

from calibration.camera import Lens
from calibration.plane import PosedPlane, UniformPlane
from calibration.scale import FacePlane
from grader.coverage.contact_rows import draw_rows
from tests.drawn_boards import GOLD, GREEN_MASK, box, contact_row, paint, polygon_share, union_share
from tests.drawn_sheets import View

SHAPE = (420, 480)
PX_PER_MM = 8.0
COUNT, PITCH_MM, SIZE_MM = 40, 1.0, (0.72, 4.0)
MIDDLE_MM = (30.0, 26.0)
WARM_LAMINATE = (0.50, 0.37, 0.16)  # hard to tell from plating
BOARD_MM = box(MIDDLE_MM, 46.0, 9.0)
CONTACTS = np.full(SHAPE, 255, np.uint8)


def turned(corners: np.ndarray, degrees: float) -> np.ndarray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return (corners - MIDDLE_MM) @ np.array([[c, s], [-s, c]]) + MIDDLE_MM


def tilted(degrees: float) -> PosedPlane:
    """A camera that looks at the row's middle from 200 mm, at a slant."""
    height, width = SHAPE
    view = View(
        width=width,
        height=height,
        focal_px=1600,
        tilt_deg=degrees,
        turn_deg=20,
        roll_deg=0,
        distance_mm=200,
        look_at_mm=MIDDLE_MM,
    )
    middle = (width - 1) / 2, (height - 1) / 2
    return PosedPlane(Lens(view.focal_px, *middle), view.rotation, view.translation)


@cache
def scene(
    degrees: float = 0.0, tilt: float | None = None, missing: Iterable[int] = ()
) -> tuple[np.ndarray, np.ndarray, np.ndarray, FacePlane]:
    """Photo, true share, what a doubtful network would say of it (both 0..1), and the plane."""
    plane = UniformPlane(PX_PER_MM) if tilt is None else tilted(tilt)
    first = (MIDDLE_MM[0] - (COUNT - 1) / 2 * PITCH_MM, MIDDLE_MM[1])
    row = [plane.to_px(turned(c, degrees)) for c in contact_row(first, COUNT, PITCH_MM, SIZE_MM, missing=missing)]
    truth = union_share(row, SHAPE)
    board = polygon_share(plane.to_px(turned(BOARD_MM, degrees)), SHAPE)
    rgb = paint([(np.ones(SHAPE), GREEN_MASK), (board, WARM_LAMINATE), (truth, GOLD)], blur_px=0.7, noise=4.0, seed=2)
    patchy = cv2.GaussianBlur(np.random.default_rng(3).normal(0, 1, SHAPE), (0, 0), 2.5)
    seen = cv2.GaussianBlur(truth, (0, 0), 2.2) * np.clip(1 + 0.05 * patchy / patchy.std(), 0, 1.2)
    return rgb, truth, np.clip(seen, 0, 1), plane


def drawn(rgb: np.ndarray, seen: np.ndarray, plane: FacePlane, contact: np.ndarray = CONTACTS) -> np.ndarray:
    return draw_rows(rgb, np.round(255 * seen).astype(np.uint8), contact, plane, PX_PER_MM) / 255


def overlap(one: np.ndarray, other: np.ndarray) -> float:
    a, b = one >= 0.5, other >= 0.5
    return float((a & b).sum() / (a | b).sum())


def pieces(share: np.ndarray) -> int:
    return int(cv2.connectedComponents((share >= 0.5).astype(np.uint8), connectivity=4)[0]) - 1


@pytest.mark.parametrize("degrees", [0, 90, 17, -38, 125])
def test_contacts_part_at_any_angle_and_the_area_stays(degrees: float) -> None:
    rgb, truth, seen, plane = scene(degrees)
    found = drawn(rgb, seen, plane)
    assert pieces(found) == COUNT
    assert overlap(found, truth) > max(0.87, overlap(seen, truth) + 0.2)
    assert found.sum() == pytest.approx(seen.sum(), rel=0.01)


@pytest.mark.parametrize("tilt", [10, 25])
def test_a_tilted_photo_is_laid_flat_first(tilt: float) -> None:
    rgb, truth, seen, plane = scene(12, tilt)
    found = drawn(rgb, seen, plane)
    assert pieces(found) == COUNT
    assert overlap(found, truth) > max(0.88, overlap(seen, truth) + 0.1)


def test_a_plane_that_knows_nothing_of_a_slight_tilt_does_as_well() -> None:
    rgb, truth, seen, _ = scene(12, 10)
    assert overlap(drawn(rgb, seen, UniformPlane(PX_PER_MM)), truth) > overlap(seen, truth) + 0.1


def test_missing_contacts_stay_missing() -> None:
    rgb, truth, seen, plane = scene(0, None, (12, 27, 28))
    found = drawn(rgb, seen, plane)
    assert pieces(found) == COUNT - 3
    assert overlap(found, truth) > 0.85


def test_a_stretch_too_short_to_show_a_pitch_stays() -> None:
    rgb, _, seen, plane = scene(0, None, (3, *range(7, COUNT)))
    np.testing.assert_array_equal(drawn(rgb, seen, plane), np.round(255 * seen) / 255)


@pytest.mark.parametrize("factor", [0.8, 1.2])
def test_brightness_moves_nothing(factor: float) -> None:
    rgb, _, seen, plane = scene(17)
    bright = np.clip(np.round(rgb * factor), 0, 255).astype(np.uint8)
    assert overlap(drawn(bright, seen, plane), drawn(rgb, seen, plane)) > 0.97


@pytest.mark.parametrize("axis", [0, 1])
def test_a_mirrored_photo_gives_the_mirrored_answer(axis: int) -> None:
    rgb, _, seen, plane = scene(17)
    mirrored = drawn(np.ascontiguousarray(np.flip(rgb, axis)), np.flip(seen, axis), plane)
    assert overlap(np.flip(mirrored, axis), drawn(rgb, seen, plane)) > 0.97


def test_a_row_that_the_network_is_sure_of_stays_bit_for_bit() -> None:
    rgb, truth, _, plane = scene(17)
    sharp = np.round(truth)
    np.testing.assert_array_equal(drawn(rgb, sharp, plane), sharp)


def test_what_is_no_contact_stays() -> None:
    rgb, _, seen, plane = scene(17)
    np.testing.assert_array_equal(drawn(rgb, seen, plane, np.zeros(SHAPE, np.uint8)), np.round(255 * seen) / 255)


def test_a_doubtful_plate_without_anything_that_recurs_stays() -> None:
    plane = UniformPlane(PX_PER_MM)
    plate = polygon_share(plane.to_px(box(MIDDLE_MM, 40.0, 4.0)), SHAPE)
    rgb = paint([(np.ones(SHAPE), GREEN_MASK), (plate, GOLD)], blur_px=0.7, noise=4.0, seed=2)
    patchy = cv2.GaussianBlur(np.random.default_rng(4).normal(0, 1, SHAPE), (0, 0), 3)
    seen = np.clip(plate * (0.7 + 0.15 * patchy / patchy.std()), 0, 1)
    np.testing.assert_array_equal(drawn(rgb, seen, plane), np.round(255 * seen) / 255)


def test_nothing_seen_gives_nothing() -> None:
    rgb, _, _, plane = scene(0)
    assert not drawn(rgb, np.zeros(SHAPE), plane).any()


def test_a_photo_too_coarse_to_show_contacts_is_left_alone() -> None:
    rgb, _, seen, _ = scene(17)
    small = cv2.resize(rgb, None, fx=0.2, fy=0.2, interpolation=cv2.INTER_AREA)
    share = np.round(255 * cv2.resize(seen, None, fx=0.2, fy=0.2, interpolation=cv2.INTER_AREA)).astype(np.uint8)
    coarse = 0.2 * PX_PER_MM
    found = draw_rows(small, share, np.full(share.shape, 255, np.uint8), UniformPlane(coarse), coarse)
    np.testing.assert_array_equal(found, share)


@pytest.mark.parametrize("px_per_mm", [0.02, 0.3, 400.0])
def test_an_absurd_scale_does_no_harm(px_per_mm: float) -> None:
    rgb, _, seen, _ = scene(17)
    share = np.round(255 * seen).astype(np.uint8)
    np.testing.assert_array_equal(draw_rows(rgb, share, CONTACTS, UniformPlane(px_per_mm), px_per_mm), share)


def test_a_strip_without_any_change_stays() -> None:
    share = np.zeros(SHAPE, np.uint8)
    share[200:232, 80:400] = 150
    plain = np.full((*SHAPE, 3), 120, np.uint8)
    np.testing.assert_array_equal(draw_rows(plain, share, CONTACTS, UniformPlane(PX_PER_MM), PX_PER_MM), share)
