"""Front and back: matched by names and outlines, and left alone where nothing says that they belong together."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.lot.pairs import suggest_pairs
from grader.measured import Measured
from grader.model import EMPTY
from tests.measured_photos import outlined, photo_with

CARD, STRIP = (4600.0, 1.59), (4100.0, 4.3)


def photo(name: str, *boards: tuple[float, float]) -> Measured:
    outlines = tuple(outlined(area, 1.0, slenderness) for area, slenderness in boards)
    return photo_with(name, EMPTY, sha256=hashlib.sha256(name.encode()).hexdigest(), boards=outlines)


def pairs(*photos: Measured) -> list[tuple[str, str, str]]:
    return [(s.front.photo, s.back.photo, s.reason) for s in suggest_pairs(photos)]


@pytest.mark.parametrize(
    ("front", "back"),
    [
        ("modules-1.png", "modules-1-back.png"),
        ("Card Front.JPG", "card_BACK.jpg"),
        ("board 7 top.jpg", "board 7 bottom.jpg"),
        ("12a.jpg", "12b.jpg"),
    ],
)
def test_names_that_differ_in_the_face_are_a_pair(front: str, back: str) -> None:
    assert pairs(photo(back), photo(front)) == [(front, back, "names")]


def test_two_photos_of_the_same_outline_in_a_row_are_a_pair() -> None:
    found = pairs(photo("p10.jpg", STRIP), photo("p8.jpg", CARD), photo("p9.jpg", CARD))
    assert found == [("p8.jpg", "p9.jpg", "outlines")]


@pytest.mark.parametrize(
    "others",
    [
        [photo("p9.jpg", STRIP)],
        [photo("p9.jpg", CARD, CARD)],
        [photo("p9.jpg")],
        [photo("p9.jpg", (CARD[0] * 1.3, CARD[1]))],
        [photo("p9.jpg", CARD), photo("p10.jpg", CARD)],  # three alike: nobody can say which two
    ],
)
def test_others_are_left_alone(others: list[Measured]) -> None:
    assert pairs(photo("p8.jpg", CARD), *others) == []


def test_an_outline_of_unknown_shape_matches_nothing() -> None:
    bare = photo_with("p1.jpg", EMPTY, boards=(outlined(4600.0, 1.0),))
    assert pairs(bare, photo("p2.jpg", CARD)) == []


@given(st.lists(st.tuples(st.sampled_from([CARD, STRIP]), st.sampled_from(["", "-back", "-front"])), max_size=8))
def test_each_photo_is_in_one_pair_at_most(shown: list[tuple[tuple[float, float], str]]) -> None:
    photos = [photo(f"p{n // 2}{face}-{n}.jpg", board) for n, (board, face) in enumerate(shown)]
    used = [m.sha256 for s in suggest_pairs(photos) for m in (s.front, s.back)]
    assert len(used) == len(set(used))


def test_four_alike_in_a_row_are_two_pairs_in_their_order() -> None:
    row = [photo(f"p{n}.jpg", CARD) for n in (2, 1, 4, 3)]
    assert pairs(*row) == [("p1.jpg", "p2.jpg", "outlines"), ("p3.jpg", "p4.jpg", "outlines")]


@pytest.mark.parametrize(
    ("area", "slender", "alike"), [(1.07, 1.0, True), (1.10, 1.0, False), (1.0, 1.04, True), (1.0, 1.06, False)]
)
def test_outlines_may_differ_by_what_two_views_of_one_board_differ(area: float, slender: float, alike: bool) -> None:
    """Scale and edges err by a per cent or two in each photo; another board is further off, larger or smaller."""
    other = (CARD[0] * area, CARD[1] * slender)
    assert bool(pairs(photo("p1.jpg", CARD), photo("p2.jpg", other))) == alike
    assert bool(pairs(photo("p1.jpg", other), photo("p2.jpg", CARD))) == alike


def test_boards_of_two_photos_are_compared_by_size_whatever_their_order() -> None:
    assert pairs(photo("p1.jpg", CARD, STRIP), photo("p2.jpg", STRIP, CARD)) == [("p1.jpg", "p2.jpg", "outlines")]
    assert pairs(photo("p1.jpg", CARD, STRIP), photo("p2.jpg", STRIP, STRIP)) == []


def test_two_backs_for_one_front_are_no_pair() -> None:
    assert pairs(photo("a top.jpg"), photo("a bottom.jpg"), photo("a back.jpg")) == []


def test_the_last_word_for_a_face_is_the_one_that_counts() -> None:
    """A board that is called a face plate is not turned by its name."""
    assert pairs(photo("back plane front.jpg"), photo("back plane back.jpg")) == [
        ("back plane front.jpg", "back plane back.jpg", "names")
    ]


def test_a_name_without_an_ending_is_read_as_it_is() -> None:
    assert pairs(photo("card front"), photo("card back")) == [("card front", "card back", "names")]
