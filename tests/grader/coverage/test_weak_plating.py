"""Weak shares move to the side that their colour speaks for; everything else stays."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from grader.coverage.weak_plating import strengthened

GOLD, MASK, TIN = (200, 160, 70), (20, 60, 35), (190, 190, 192)
Picture = NDArray[np.uint8]


def _plane(rest: tuple[int, int, int]) -> tuple[Picture, Picture, Picture]:
    """A plane whose left half the network is sure of, and whose right half, of colour ``rest``, it gives 0.3."""
    rgb = np.full((200, 300, 3), MASK, np.uint8)
    rgb[60:140, 60:150], rgb[60:140, 150:240] = GOLD, rest
    rgb = np.clip(rgb + np.random.default_rng(1).normal(0, 4, rgb.shape), 0, 255).astype(np.uint8)
    share = np.zeros((200, 300), np.uint8)
    share[60:140, 60:150], share[60:140, 150:240] = 250, 76
    return rgb, share, np.zeros_like(share)


def test_the_weak_half_of_a_plane_of_one_colour_becomes_plated() -> None:
    rgb, share, contact = _plane(GOLD)
    got = strengthened(rgb, share, contact)
    assert got[70:130, 165:200].mean() > 0.75 * 255
    assert np.array_equal(got[share == 250], share[share == 250])
    assert np.array_equal(got[share == 0], share[share == 0])


def test_a_weak_region_coloured_like_the_mask_around_it_fades() -> None:
    rgb, share, contact = _plane(MASK)
    assert strengthened(rgb, share, contact)[70:130, 165:200].mean() < 0.15 * 255


def test_a_weak_region_of_another_metal_does_not_become_plated() -> None:
    """Tin is much like gold beside dark mask, so what surrounds it may hold tin too: then it fades."""
    rgb, share, contact = _plane(TIN)
    rgb[20:50, 150:240] = TIN
    assert strengthened(rgb, share, contact)[70:130, 165:200].mean() < 76


def test_edge_contacts_are_left_alone() -> None:
    rgb, share, contact = _plane(GOLD)
    assert np.array_equal(strengthened(rgb, share, np.full_like(contact, 255)), share)


def test_nothing_changes_where_nothing_is_sure() -> None:
    rgb, share, contact = _plane(GOLD)
    weak = np.minimum(share, 76)
    assert np.array_equal(strengthened(rgb, weak, contact), weak)


def test_an_empty_map_stays_empty() -> None:
    rgb, share, contact = _plane(GOLD)
    assert not strengthened(rgb, np.zeros_like(share), contact).any()


@pytest.mark.parametrize("turn", [cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE])
def test_the_area_does_not_follow_the_way_the_picture_lies(turn: int) -> None:
    planes = _plane(GOLD)
    straight = strengthened(*planes)
    turned = strengthened(*(np.asarray(cv2.rotate(p, turn), np.uint8) for p in planes))
    assert turned.sum(dtype=float) == pytest.approx(straight.sum(dtype=float), rel=0.02)


@pytest.mark.parametrize("light", [lambda x: x * 0.8, lambda x: x * 1.1])
def test_the_area_does_not_follow_the_light(light: Callable[[Picture], Picture]) -> None:
    rgb, share, contact = _plane(GOLD)
    lit = np.clip(light(rgb.astype(np.float64)), 0, 255).astype(np.uint8)
    got, before = (strengthened(picture, share, contact).sum(dtype=float) for picture in (lit, rgb))
    assert got == pytest.approx(before, rel=0.05)
