"""Contacts take their width, ends and missing neighbours from the photo; whatever shows no row stays as it is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
import pytest

from grader.coverage.folded_rows import draw_folded_rows
from tests.drawn_boards import GOLD, GREEN_MASK, Rgb, box, contact_row, paint, polygon_share, union_share

TAN: Rgb = (0.42, 0.33, 0.17)  # bare laminate that the network takes for plating
BROWN: Rgb = (0.10, 0.07, 0.04)  # plating that mirrors something dark


@dataclass(frozen=True)
class Scene:
    """A photo, its true share 0..1, and what the network says: share and chance of a contact, 255 = 1."""

    rgb: np.ndarray
    truth: np.ndarray
    seen: np.ndarray
    contact: np.ndarray

    def drawn(self) -> np.ndarray:
        return draw_folded_rows(self.rgb, self.rgb, self.seen, self.contact)


@cache
def scene(
    pitch: float = 12.0,
    duty: float = 0.75,
    count: int = 22,
    degrees: float = 0.0,
    missing: Iterable[int] = (),
    gold: Rgb = GOLD,
    how: str = "filled",
    below: float = 0.0,
) -> Scene:
    """A row on bare laminate, whose gaps the network sees filled, and laminate below it as plating; or shreds."""
    length, width = 4 * pitch, (count + 1) * pitch
    reach = int(width / 2 + 40)
    shape = (2 * reach, 2 * reach)
    middle = np.array([reach + 0.3, reach - 0.4])
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))

    def turned(corners: np.ndarray) -> np.ndarray:
        return (corners - middle) @ np.array([[c, s], [-s, c]]) + middle

    first = (middle[0] - (count - 1) / 2 * pitch, middle[1])
    row = [turned(p) for p in contact_row(first, count, pitch, (duty * pitch, length), missing=missing)]
    truth = union_share(row, shape)
    laminate = polygon_share(turned(box((middle[0], middle[1] + 0.3 * pitch), width, 1.3 * length)), shape)
    rgb = paint([(np.ones(shape), GREEN_MASK), (laminate, TAN), (truth, gold)], blur_px=0.6, noise=4.0, seed=5)
    strip = polygon_share(turned(box((middle[0], middle[1] + below / 2), width - pitch, length + below)), shape)
    random = cv2.GaussianBlur(np.random.default_rng(7).normal(0, 1, shape), (0, 0), max(1.0, 0.2 * pitch))
    patchy = random / random.std()
    if how == "filled":
        seen = cv2.GaussianBlur(strip, (0, 0), 1) * (0.62 + 0.3 * cv2.GaussianBlur(truth, (0, 0), 1)) + 0.04 * patchy
    else:
        seen = strip * (0.25 + 0.25 * truth + 0.25 * patchy)
    seen = np.clip(seen, 0, 1) * (strip > 0)
    contact = np.where(cv2.dilate(strip, np.ones((9, 9))) > 0, 230, 0).astype(np.uint8)
    return Scene(rgb, truth, np.round(255 * seen).astype(np.uint8), contact)


def overlap(share: np.ndarray, truth: np.ndarray) -> float:
    a, b = share >= 128, truth >= 0.5
    return float((a & b).sum() / (a | b).sum())


def area(share: np.ndarray) -> float:
    return float(share.sum(dtype=float)) / 255


def pieces(share: np.ndarray) -> int:
    return int(cv2.connectedComponents((share >= 128).astype(np.uint8), connectivity=4)[0]) - 1


@pytest.mark.parametrize(
    ("pitch", "duty"), [(8, 0.6), (9, 0.7), (12, 0.6), (12, 0.8), (30, 0.6), (30, 0.8), (58, 0.7)]
)
def test_filled_gaps_open_and_the_area_comes_out_right(pitch: float, duty: float) -> None:
    row = scene(pitch, duty)
    found = row.drawn()
    assert area(row.seen) > 1.04 * row.truth.sum()
    assert area(found) == pytest.approx(row.truth.sum(), rel=0.04)
    assert overlap(found, row.truth) > 0.92
    assert pieces(found) == 22


def test_laminate_below_the_contacts_that_was_taken_for_plating_goes_at_least_half() -> None:
    row = scene(below=8.0)
    half = 0.5 * 8.0 / 48.0
    assert area(row.drawn()) / row.truth.sum() - 1 < half + 0.02
    assert overlap(row.drawn(), row.truth) > overlap(row.seen, row.truth) + 0.2


def test_narrow_contacts_come_nearer_the_truth() -> None:
    row = scene(4.0, 0.7, 40)
    assert overlap(row.drawn(), row.truth) > overlap(row.seen, row.truth) + 0.1


@pytest.mark.parametrize("degrees", [90, 17, -38, 125])
def test_a_row_lies_at_any_angle(degrees: float) -> None:
    row = scene(degrees=degrees)
    found = row.drawn()
    assert area(found) == pytest.approx(row.truth.sum(), rel=0.04)
    assert overlap(found, row.truth) > 0.9


def test_contacts_seen_in_shreds_become_whole() -> None:
    row = scene(16.0, 0.6, 24, gold=BROWN, how="shreds")
    assert overlap(row.seen, row.truth) < 0.5
    assert overlap(row.drawn(), row.truth) > 0.85


@pytest.mark.parametrize("missing", [(6,), (3, 12, 13), (18, 19, 20, 21)])
def test_missing_contacts_stay_missing(missing: tuple[int, ...]) -> None:
    row = scene(missing=missing)
    found = row.drawn()
    assert pieces(found) == 22 - len(missing)
    assert area(found) == pytest.approx(row.truth.sum(), rel=0.05)


def test_a_contact_that_mirrors_something_else_is_none_the_less_there() -> None:
    """Brighter than the gaps where the others are darker."""
    row = scene(gold=BROWN)
    left = box((row.rgb.shape[1] / 2 - 0.2 + 0.5 * 12, row.rgb.shape[0] / 2 - 0.4), 9.0, 48.0)
    bright = polygon_share(left, row.rgb.shape[:2])[..., None]
    rgb = np.round(row.rgb * (1 - bright) + 245 * bright).astype(np.uint8)
    found = draw_folded_rows(rgb, rgb, row.seen, row.contact)
    assert pieces(found) == 22
    assert area(found) == pytest.approx(area(row.drawn()), rel=0.02)


@pytest.mark.parametrize("turn", [cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE])
def test_a_turned_photo_gives_the_same_area(turn: int) -> None:
    row = scene(degrees=17)
    turned = Scene(*(np.asarray(cv2.rotate(p, turn)) for p in (row.rgb, row.truth, row.seen, row.contact)))
    assert area(turned.drawn()) == pytest.approx(area(row.drawn()), rel=0.01)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_mirrored_photo_gives_the_mirrored_answer(axis: int) -> None:
    row = scene(degrees=17)
    mirrored = Scene(*(np.ascontiguousarray(np.flip(p, axis)) for p in (row.rgb, row.truth, row.seen, row.contact)))
    assert overlap(np.flip(mirrored.drawn(), axis), row.drawn() / 255) > 0.97


@pytest.mark.parametrize("factor", [0.7, 1.2])
def test_brightness_moves_nothing(factor: float) -> None:
    row = scene(degrees=17)
    bright = Scene(np.clip(np.round(row.rgb * factor), 0, 255).astype(np.uint8), row.truth, row.seen, row.contact)
    assert area(bright.drawn()) == pytest.approx(area(row.drawn()), rel=0.02)


@pytest.mark.parametrize("factor", [0.75, 1.5])
def test_the_area_grows_with_the_picture(factor: float) -> None:
    row = scene(16.0, degrees=17)
    larger = Scene(*(cv2.resize(p, None, fx=factor, fy=factor) for p in (row.rgb, row.truth, row.seen, row.contact)))
    assert area(larger.drawn()) == pytest.approx(factor**2 * area(row.drawn()), rel=0.03)


def test_a_larger_photo_shows_the_edges_of_narrow_contacts() -> None:
    """The network read the photo at 0.4 of its size, at which a pitch has 4 px."""
    row = scene(10.0, 0.6, 30)
    size = (int(row.rgb.shape[1] * 0.4), int(row.rgb.shape[0] * 0.4))
    smaller = [cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in (row.rgb, row.seen, row.contact)]
    true = row.truth.sum() * size[0] / row.rgb.shape[1] * size[1] / row.rgb.shape[0]
    sharp, blurred = (area(draw_folded_rows(photo, *smaller)) for photo in (row.rgb, smaller[0]))
    assert sharp == pytest.approx(true, rel=0.04)
    assert abs(sharp - true) < abs(blurred - true)


def test_a_photo_too_long_to_look_places_up_in_is_read_at_the_size_of_the_shares() -> None:
    row = scene()
    longer = cv2.resize(row.rgb, (33_000, 4))
    np.testing.assert_array_equal(draw_folded_rows(longer, row.rgb, row.seen, row.contact), row.drawn())


def test_a_row_seen_at_a_slant_is_followed() -> None:
    """From one end to the other the pitch falls by a quarter, and contacts lean ever more."""
    row = scene(14.0)
    side = row.rgb.shape[0]
    corners = np.float32([[0, 0], [side, 0], [side, side], [0, side]])
    slanted = np.float32([[0, 0], [side, 0.05 * side], [side, 0.925 * side], [0, side]])
    turn = cv2.getPerspectiveTransform(corners, slanted)
    seen = Scene(*(cv2.warpPerspective(p, turn, (side, side)) for p in (row.rgb, row.truth, row.seen, row.contact)))
    found = seen.drawn()
    assert pieces(found) == 22
    assert overlap(found, seen.truth) > 0.88


def test_a_row_that_the_network_sees_well_keeps_its_area() -> None:
    row = scene(degrees=17)
    well = Scene(row.rgb, row.truth, np.round(255 * row.truth).astype(np.uint8), row.contact)
    assert area(well.drawn()) == pytest.approx(row.truth.sum(), rel=0.03)
    assert overlap(well.drawn(), row.truth) > 0.95


def test_a_row_that_explains_no_more_than_the_network_sees_stays_where_only_clear_ones_are_wanted() -> None:
    row = scene(degrees=17)
    well = np.round(255 * row.truth).astype(np.uint8)
    found = draw_folded_rows(row.rgb, row.rgb, well, row.contact, only_clearly=True)
    np.testing.assert_array_equal(found, well)


def test_a_row_that_the_network_rather_takes_for_tin_stays() -> None:
    row = scene()
    faint = np.round(0.5 * row.seen).astype(np.uint8)
    np.testing.assert_array_equal(Scene(row.rgb, row.truth, faint, row.contact).drawn(), faint)


@pytest.mark.parametrize("rounded", [True, False])
def test_round_ends_are_drawn_round(rounded: bool) -> None:
    """Between the truths with round and with straight ends lie a few per cent of the area."""
    row = scene(24.0, 0.7)
    side, across, length = row.rgb.shape[0], 0.7 * 24.0, 96.0
    middle = side / 2 + np.array([0.3, -0.4])
    y, x = np.mgrid[: 4 * side, : 4 * side] / 4.0 - 0.375
    aside = np.abs((x - middle[0]) % 24.0 - 12.0)
    beyond = np.maximum(np.abs(y - middle[1]) - (length - across) / 2, 0) if rounded else 0 * y
    whole = (np.hypot(aside, beyond) < across / 2) & (np.abs(x - middle[0]) < 11 * 24.0)
    whole &= np.abs(y - middle[1]) < length / 2
    truth = cv2.resize(whole.astype(np.float32), (side, side), interpolation=cv2.INTER_AREA)
    rgb = paint([(np.ones((side, side)), TAN), (truth, GOLD)], blur_px=0.6, noise=4.0, seed=5)
    found = Scene(rgb, truth, row.seen, row.contact).drawn()
    assert area(found) == pytest.approx(truth.sum(), rel=0.025)


def test_other_plating_in_the_picture_stays_bit_for_bit() -> None:
    row = scene()
    seen, contact = row.seen.copy(), row.contact.copy()
    seen[20:60, 20:60] = np.random.default_rng(3).integers(60, 255, (40, 40))
    found = draw_folded_rows(row.rgb, row.rgb, seen, contact)
    np.testing.assert_array_equal(found[:70], seen[:70])


def test_what_is_no_edge_contact_stays() -> None:
    row = scene()
    pads = Scene(row.rgb, row.truth, row.seen, np.zeros_like(row.contact))
    np.testing.assert_array_equal(pads.drawn(), row.seen)


def _unlike_a_row(kind: str) -> Scene:
    shape = (300, 420)
    pads = [box((60 + 30 * x, 60 + 30 * y), 16, 16) for x in range(10) for y in range(6)]
    truth = {
        "plane": polygon_share(box((210, 150), 240, 60), shape),
        "pads": union_share(pads, shape),
        "bare board": np.zeros(shape),
        "bare laminate": np.zeros(shape),
    }[kind]
    ground = TAN if kind == "bare laminate" else GREEN_MASK
    rgb = paint([(np.ones(shape), ground), (truth, GOLD)], blur_px=0.7, noise=4.0, seed=2)
    patchy = cv2.GaussianBlur(np.random.default_rng(4).normal(0, 1, shape), (0, 0), 3)
    where = truth if truth.any() else polygon_share(box((210, 150), 260, 50), shape)
    seen = np.clip(where * (0.7 + 0.15 * patchy / patchy.std()), 0, 1)
    return Scene(rgb, truth, np.round(255 * seen).astype(np.uint8), np.full(shape, 255, np.uint8))


@pytest.mark.parametrize("kind", ["plane", "pads", "bare board", "bare laminate"])
def test_what_shows_no_row_stays(kind: str) -> None:
    """Even where the network takes it for edge contacts."""
    other = _unlike_a_row(kind)
    np.testing.assert_array_equal(other.drawn(), other.seen)


def test_a_row_stays_where_the_network_does_not_tell_contacts_from_gaps() -> None:
    """The photo shows a pattern, but not which of its two colours is plating."""
    row = scene(duty=0.5, gold=BROWN)
    random = cv2.GaussianBlur(np.random.default_rng(9).normal(0, 40, row.seen.shape), (0, 0), 3)
    flat = np.where(row.seen > 0, np.clip(190 + random, 0, 255), 0).astype(np.uint8)
    np.testing.assert_array_equal(Scene(row.rgb, row.truth, flat, row.contact).drawn(), flat)


def test_nothing_seen_gives_nothing() -> None:
    row = scene()
    assert not Scene(row.rgb, row.truth, np.zeros_like(row.seen), row.contact).drawn().any()


def test_a_picture_of_one_colour_stays() -> None:
    row = scene()
    plain = Scene(np.full_like(row.rgb, 120), row.truth, row.seen, row.contact)
    np.testing.assert_array_equal(plain.drawn(), row.seen)
