"""What several looks at one picture see together: the greater of two, and large plating that both miss."""

import cv2
import numpy as np
import pytest

from grader.coverage.several_looks import MUCH_SMALLER, SmallerLook, seen_together

SIZE = (240, 320)
Shares = np.ndarray


def drawn(*boxes: tuple[int, int, int, int], level: int = 250) -> Shares:
    """A map with rectangles: top, bottom, left, right."""
    out = np.zeros(SIZE, np.uint8)
    for top, bottom, left, right in boxes:
        out[top:bottom, left:right] = level
    return out


def copies(share: Shares, contact: Shares | None = None, seen_in: int = len(MUCH_SMALLER)) -> list[SmallerLook]:
    """Much smaller looks that see a map as it is, the last ones of them; the others see nothing."""
    none = np.zeros(SIZE, np.uint8)
    looks = []
    for number, factor in enumerate(MUCH_SMALLER):
        seen = share if number >= len(MUCH_SMALLER) - seen_in else none
        small = [
            cv2.resize(m, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
            for m in (seen, none if contact is None else contact)
        ]
        looks.append(SmallerLook(*small))
    return looks


def together(
    first: Shares, second: Shares, looks: list[SmallerLook], contact: Shares | None = None
) -> tuple[Shares, Shares]:
    none = np.zeros(SIZE, np.uint8)
    return seen_together(first, [SmallerLook(second, none), *looks], none if contact is None else contact)


NONE = drawn()
PLANE = drawn((60, 180, 60, 260))


def test_what_one_look_misses_is_taken_from_the_other() -> None:
    """Each look finds one half of a contact that both see; the greater share counts."""
    left, right = (10, 30, 10, 30), (10, 30, 30, 50)
    first = np.maximum(drawn(left), drawn(right, level=90))
    second = np.maximum(drawn(left, level=90), drawn(right))
    assert (together(first, second, copies(NONE))[0][10:30, 10:50] == 250).all()


@pytest.mark.parametrize(("one", "other", "stays"), [(240, 30, False), (120, 120, False), (240, 100, True)])
def test_a_region_stays_where_one_look_is_sure_and_the_other_sees_it(one: int, other: int, stays: bool) -> None:
    first, second = drawn((10, 30, 10, 30), level=one), drawn((10, 30, 10, 30), level=other)
    for looks in ((first, second), (second, first)):
        assert bool(together(*looks, copies(NONE))[0].any()) is stays


def test_a_plane_that_only_smaller_copies_show_is_found_with_its_area() -> None:
    first, large = together(NONE, NONE, copies(PLANE))
    assert not first.any()
    assert large.sum(dtype=float) == pytest.approx(PLANE.sum(dtype=float), rel=0.05)


def test_a_plane_of_which_the_first_looks_see_an_end_is_completed() -> None:
    end = drawn((60, 180, 60, 100))
    first, large = together(end, end, copies(PLANE))
    assert np.maximum(first, large).sum(dtype=float) == pytest.approx(PLANE.sum(dtype=float), rel=0.05)


@pytest.mark.parametrize(("seen_in", "found"), [(0, False), (1, False), (2, True)])
def test_large_plating_must_be_seen_in_two_looks(seen_in: int, found: bool) -> None:
    assert bool(together(NONE, NONE, copies(PLANE, seen_in=seen_in))[1].any()) is found


def test_plating_that_the_first_looks_show_keeps_their_edges() -> None:
    swollen = cv2.dilate(PLANE, np.ones((9, 9), np.uint8))
    assert not together(PLANE, PLANE, copies(swollen))[1].any()


def test_small_pads_and_edge_contacts_are_left_to_the_first_looks() -> None:
    small = drawn(*((20, 28, x, x + 8) for x in range(20, 300, 20)))
    assert not together(NONE, NONE, copies(small))[1].any()
    everywhere = np.full(SIZE, 255, np.uint8)
    assert not together(NONE, NONE, copies(PLANE, everywhere))[1].any()
    assert not together(NONE, NONE, copies(PLANE), everywhere)[1].any()


def test_turned_looks_give_turned_shares() -> None:
    end = drawn((60, 180, 60, 100))
    looks = copies(PLANE)
    upright = together(end, end, looks)
    turned = [SmallerLook(np.rot90(look.share).copy(), np.rot90(look.contact).copy()) for look in looks]
    end = np.rot90(end).copy()
    beside = seen_together(end, [SmallerLook(end, np.zeros_like(end)), *turned], np.zeros_like(end))
    for one, other in zip(upright, beside, strict=True):
        assert one.sum(dtype=float) == pytest.approx(other.sum(dtype=float), rel=0.01)
