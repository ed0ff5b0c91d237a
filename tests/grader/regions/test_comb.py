"""Rows followed through the picture: drawn contacts that the coverage lacks, runs together or sees only in part."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from calibration.families import ContactFamily, family_named
from grader.coverage import Coverage
from grader.regions import RowReading, contact_line, read_contact_rows
from grader.regions.comb import follow
from tests.drawn_boards import GOLD, GREEN_MASK, LAMINATE, TABLE, box, paint, polygon_share, union_share
from tests.regions_of import find_regions

PX = 9.0
PCIE = family_named("PCI Express")
Picture = NDArray[np.uint8]


def board(
    family: ContactFamily, layout: tuple[int, ...], seed: int = 0
) -> tuple[Picture, NDArray[np.float64], np.ndarray]:
    """A picture of a card with that edge, the share of gold, and the contacts' places along the row in px."""
    x = (8.0 + family.pitch_mm * family.places(layout)) * PX
    length, width = family.contact_length_mm[1] * PX, family.contact_width_mm * PX
    shape = (round(16 * PX), round(float(x[-1]) + 8 * PX))
    bottom = 14 * PX
    contacts = union_share([box((a, bottom - 0.6 * PX - length / 2), width, length) for a in x], shape)
    card = polygon_share(box((float(x.mean()), bottom / 2), float(np.ptp(x)) + 3 * PX, bottom), shape)
    for i in np.flatnonzero(np.diff(x) > 1.5 * family.pitch_mm * PX):
        slot = float(x[i + 1] - x[i]) - width - 0.6 * PX
        card = card * (1 - polygon_share(box((float(x[i] + x[i + 1]) / 2, bottom), slot, 12 * PX), shape))
    mask = card * polygon_share(box((shape[1] / 2, 4 * PX), shape[1], 8 * PX), shape)
    layers = [(np.ones(shape), TABLE), (card, LAMINATE), (mask, GREEN_MASK), (contacts, GOLD)]
    return paint(layers, blur_px=0.7, noise=2.0, seed=seed), contacts, x


def readings(rgb: Picture, share: NDArray[np.float64]) -> tuple[RowReading, ...]:
    coverage = Coverage(np.round(255 * share).astype(np.uint8), np.ones(share.shape, bool), "drawn", ())
    return read_contact_rows(find_regions(coverage, None), coverage, rgb)


def lost(share: NDArray[np.float64], x: np.ndarray, gone: list[int], pitch: float) -> NDArray[np.float64]:
    """The share without some of its contacts."""
    out = share.copy()
    for i in gone:
        out[:, round(x[i] - pitch / 2) : round(x[i] + pitch / 2)] = 0
    return out


def test_contacts_that_the_coverage_lacks_are_counted_and_told_missing() -> None:
    rgb, share, x = board(PCIE, (11, 21))
    gone = [0, 1, 2, 3, 14, 15, 16, 17, 28, 29, 30, 31]
    seen = lost(share, x, gone, PX)
    [with_picture] = readings(rgb, seen)
    assert with_picture.family == "PCI Express"
    assert with_picture.count == 32
    assert with_picture.missing == len(gone)
    assert not with_picture.alone[gone].any()
    line = contact_line((with_picture,))
    assert line is not None
    assert line.px_per_mm() == pytest.approx(PX, rel=2e-3)


def test_without_the_picture_they_tell_nothing() -> None:
    _, share, x = board(PCIE, (11, 21))
    seen = lost(share, x, [0, 1, 2, 3, 14, 15, 16, 17, 28, 29, 30, 31], PX)
    coverage = Coverage(np.round(255 * seen).astype(np.uint8), np.ones(seen.shape, bool), "drawn", ())
    assert not any(r.matches for r in read_contact_rows(find_regions(coverage, None), coverage))


def test_contacts_that_run_together_at_half_stand_apart_at_more() -> None:
    rgb, share, _ = board(PCIE, (11, 21))
    beside = cv2.dilate(share, np.ones((1, 2 * round(0.2 * PX) + 1)))
    [reading] = readings(rgb, np.maximum(share, 0.6 * beside))
    assert reading.family == "PCI Express"
    assert reading.count == 32
    assert reading.missing == 0
    assert contact_line((reading,)) is not None


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("turn", "factor"), [(0, 0.7), (1, 1.0), (2, 1.6), (3, 0.8)])
def test_turned_mirrored_and_enlarged_it_is_the_same_row(turn: int, mirrored: bool, factor: float) -> None:
    rgb, share, x = board(PCIE, (11, 7))
    seen = lost(share, x, [0, 7, 16, 17], PX)
    size = (round(share.shape[1] * factor), round(share.shape[0] * factor))
    rgb, seen = (cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in (rgb, seen))
    rgb, seen = (np.ascontiguousarray(np.rot90(p[:, ::-1] if mirrored else p, turn or 0)) for p in (rgb, seen))
    [reading] = readings(rgb, seen)
    assert reading.family == "PCI Express"
    assert reading.count == 18
    line = contact_line((reading,))
    assert line is not None
    assert line.px_per_mm() == pytest.approx(PX * factor, rel=5e-3)


@given(data=st.data())
@settings(max_examples=15, deadline=None)
def test_following_adds_contacts_only_where_some_are(data: st.DataObject) -> None:
    layout = data.draw(st.sampled_from([(11, 7), (11, 21), (11, 38)]))
    rgb, _, x = board(PCIE, layout, seed=data.draw(st.integers(0, 99)))
    first = data.draw(st.integers(11, len(x) - 7))
    known = x[first : first + data.draw(st.integers(6, len(x) - first))]
    y = 14 * PX - 0.6 * PX - 4.3 / 2 * PX
    comb = follow(rgb, np.column_stack([known, np.full(len(known), y)]), known, PX, np.array([0.0, 2.15 * PX]))
    nearest = np.abs(comb.along[:, None] - x).min(axis=1)
    assert nearest.max() < 0.2 * PX
    assert len(np.unique(np.abs(comb.along[:, None] - x).argmin(axis=1))) == len(comb.along)
    assert comb.found.sum() == len(known)


def test_a_row_without_a_key_gives_no_scale_however_whole_it_is() -> None:
    isa = family_named("isa_8")
    rgb, share, _ = board(isa, (31,))
    alone = np.zeros(share.shape, bool)
    alone[: round(14 * PX)] = True
    coverage = Coverage(np.round(255 * share).astype(np.uint8), alone, "drawn", ())
    [whole] = read_contact_rows(find_regions(coverage, None), coverage, rgb)
    assert whole.matches == ()


def test_pads_in_the_middle_of_a_board_are_no_outline_whatever_their_count() -> None:
    isa = family_named("isa_8")
    rgb, share, _ = board(isa, (31,))
    rgb, share = np.pad(rgb, ((0, 180), (40, 40), (0, 0)), "edge"), np.pad(share, ((0, 180), (40, 40)))
    large = np.zeros(share.shape, bool)
    large[:-80, 20:-20] = True
    coverage = Coverage(np.round(255 * share).astype(np.uint8), large, "drawn", ())
    regions = find_regions(coverage, None)
    assert [row.at_edge for row in regions.rows] == [False]
    [reading] = read_contact_rows(regions, coverage, rgb)
    assert reading.matches == ()
    assert contact_line((reading,)) is None


def test_rows_that_tell_quite_another_scale_give_none() -> None:
    rgb, share, _ = board(PCIE, (11, 21))
    [one] = readings(rgb, share)
    small, small_share = (cv2.resize(p, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA) for p in (rgb, share))
    [other] = readings(small, small_share)
    assert contact_line((one,)) is not None
    assert contact_line((one, other)) is None
