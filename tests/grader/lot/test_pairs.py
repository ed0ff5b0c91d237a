"""Front and back: matched by names and outlines, and left alone where nothing says that they belong together."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.lot.pairs import suggest_pairs
from grader.model import ProductModel
from grader.value import Measured
from grader.value.measured import Outline

CARD, STRIP = (4600.0, 1.59), (4100.0, 4.3)


def photo(name: str, *boards: tuple[float, float]) -> Measured:
    outlines = tuple(Outline(area, 1.0, slenderness) for area, slenderness in boards)
    return Measured(name, hashlib.sha256(name.encode()).hexdigest(), ProductModel((), {}), {}, (), outlines)


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
    bare = Measured("p1.jpg", "0" * 64, ProductModel((), {}), {}, (), (Outline(4600.0, 1.0),))
    assert pairs(bare, photo("p2.jpg", CARD)) == []


@given(st.lists(st.tuples(st.sampled_from([CARD, STRIP]), st.sampled_from(["", "-back", "-front"])), max_size=8))
def test_each_photo_is_in_one_pair_at_most(shown: list[tuple[tuple[float, float], str]]) -> None:
    photos = [photo(f"p{n // 2}{face}-{n}.jpg", board) for n, (board, face) in enumerate(shown)]
    used = [m.sha256 for s in suggest_pairs(photos) for m in (s.front, s.back)]
    assert len(used) == len(set(used))
