"""Divisions drawn by their chances: worked out by hand where there are few, and what they must not depend on."""

from itertools import combinations

import numpy as np
import pytest

from grader.listing.assign import Said
from grader.listing.division import Division, division_of
from grader.listing.draws import NONE, Draws, drawn
from grader.listing.odds import match_figures
from grader.listing.weights import LookEvidence

SURE_BOARD = -6.0  # logarithm of the odds that an outline is no board


def evidence(
    photo_of: list[int], board_of: list[int], yes: float = 6.0, no: float = -4.0, none: float = SURE_BOARD
) -> LookEvidence:
    same = {
        (i, j): yes if board_of[i] == board_of[j] else no
        for i, j in combinations(range(len(photo_of)), 2)
        if photo_of[i] != photo_of[j]
    }
    return LookEvidence(photo_of, same, {}, [True] * len(photo_of), [none] * len(photo_of), Said())


def counts(told: LookEvidence, draws: int = 400) -> np.ndarray:
    return drawn(told, [[(n, False)] for n in range(len(told.photo_of))], draws).counts


def test_clear_looks_give_their_boards_from_any_start() -> None:
    told = evidence([0, 0, 0, 1, 1, 1, 2, 2], [0, 1, 2, 2, 1, 0, 0, 1])
    assert np.mean(counts(told) == 3) > 0.95


def test_two_looks_come_together_as_often_as_their_odds_say() -> None:
    # a look in each of two photos, 1 / N for N boards: Σ 1/N × N/N² for one board, Σ 1/N × N(N-1)/N² for two
    number = np.arange(1, 41)
    one, two = np.sum(1 / number**2), np.sum((number - 1) / number**2)
    limits = match_figures()["limits"]
    back, other = limits["back_photo"], limits["other_side"]
    front = (1 - back) * (1 - other) + back * other  # a look is at a front
    for odds in (0.0, 1.5):
        told = LookEvidence([0, 1], {(0, 1): odds}, {}, [True] * 2, [-40.0] * 2, Said())
        share = np.mean(counts(told, 4000) == 1)
        # at one face the looks speak; at two faces they say nothing
        joined = one * ((front**2 + (1 - front) ** 2) * np.exp(odds) + 2 * front * (1 - front))
        assert share == pytest.approx(joined / (joined + two), abs=0.03)


def test_photos_that_each_show_as_many_boards_show_the_same() -> None:
    # nothing tells that the last looks of three photos are one board, but that each photo shows six outlines
    photo_of = [photo for photo in range(3) for _ in range(6)]
    told = evidence(photo_of, [*range(6), *range(5), 6, *range(5), 7], no=-4.0)
    unknown = {p: (0.0 if set(p) <= {5, 11, 17} else s) for p, s in told.same.items()}
    found = counts(LookEvidence(photo_of, unknown, {}, told.is_part, told.none, Said()))
    assert np.mean(found == 6) > 0.8


def test_an_outline_that_no_other_photo_shows_may_be_no_board() -> None:
    photo_of = [0, 0, 0, 0, 1, 1, 1, 2, 2, 2]
    told = evidence(photo_of, [0, 1, 2, 9, 0, 1, 2, 0, 1, 2])
    doubtful = [0.0 if n == 3 else SURE_BOARD for n in range(len(photo_of))]
    drawn_so = drawn(
        LookEvidence(photo_of, told.same, {}, told.is_part, doubtful, Said()), [[(n, False)] for n in range(10)]
    )
    assert np.mean(drawn_so.board[:, 3] == NONE) > 0.8
    assert np.mean(drawn_so.board[:, 0] == NONE) < 0.05


def parts(found: Division) -> set[frozenset[int]]:
    return {frozenset(group.looks) for group in found.groups}


def divided(board_of: list[int], photo_of: list[int], said: Said) -> Division:
    told = evidence(photo_of, board_of, yes=4.0)
    return division_of(photo_of, told.same, {}, told.is_part, told.none, said)


def test_what_a_person_says_outweighs_what_was_seen() -> None:
    photo_of = [0, 1, 2]
    apart = divided([0, 0, 1], photo_of, Said.of(apart=[(1, 0)]))
    assert not any({0, 1} <= group for group in parts(apart))
    joined = divided([0, 0, 1], photo_of, Said.of(together=[(0, 2)], apart=[(0, 1), (1, 2)]))
    assert parts(joined) == {frozenset({0, 2}), frozenset({1})}
    faces = divided([0, 0, 1], photo_of, Said.of(faces=[(2, 1)], together=[(0, 1)]))
    (group,) = faces.groups
    assert {frozenset(group.fronts), frozenset(group.backs)} == {frozenset({0, 1}), frozenset({2})}


def test_what_is_said_to_be_no_board_is_none_and_back() -> None:
    photo_of = [0, 0, 1, 1]
    none = divided([0, 1, 0, 2], photo_of, Said.of(none=[3]))
    assert 3 in none.none
    again = divided([0, 1, 0, 2], photo_of, Said.of(boards=[3]))
    assert any(3 in group for group in parts(again))


def test_the_chances_of_doubts_are_those_of_the_draws() -> None:
    found = division_of([0, 1], {(0, 1): -1.0}, {}, [True] * 2, [-40.0] * 2, Said())
    together = float(np.mean(found.draws.counts == 1))
    doubt = found.doubts[0]
    expected = 1 - together if len(found.groups) == 1 else together
    told = sum(d.chance for d in found.doubts if (d.second is None) == (doubt.second is None) and not d.is_none)
    assert told == pytest.approx(expected, abs=0.01)


def test_draws_are_the_same_for_the_same_looks() -> None:
    told = evidence([0, 0, 1, 1], [0, 1, 1, 2], yes=1.0, no=-1.0)
    first, second = (drawn(told, [[(0, False)]], 50) for _ in range(2))
    assert isinstance(first, Draws)
    assert np.array_equal(first.board, second.board)
