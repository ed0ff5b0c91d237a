"""Which looks are at one board: worked out by hand from odds."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.listing.assign import Said, divide


def odds(
    photo_of: list[int], board_of: list[int], yes: float = 4.0, no: float = -5.0
) -> dict[tuple[int, int], float]:
    """Odds that speak clearly for the boards that looks are at."""
    return {
        (i, j): yes if board_of[i] == board_of[j] else no
        for i, j in combinations(range(len(photo_of)), 2)
        if photo_of[i] != photo_of[j]
    }


def looks_of(division: object) -> set[frozenset[int]]:
    return {frozenset(group.looks) for group in division.groups}  # type: ignore[attr-defined]


def test_clear_odds_give_each_board_once() -> None:
    photo_of, board_of = [0, 0, 0, 1, 1, 2], [0, 1, 2, 1, 0, 2]
    found = divide(photo_of, odds(photo_of, board_of), {})
    assert looks_of(found) == {frozenset({0, 4}), frozenset({1, 3}), frozenset({2, 5})}
    assert all(doubt.chance < 0.1 for doubt in found.doubts)


def test_two_looks_in_one_photo_are_never_one_board() -> None:
    photo_of = [0, 0, 1]
    found = divide(photo_of, {(0, 2): 3.0, (1, 2): 2.5}, {})
    assert looks_of(found) == {frozenset({0, 2}), frozenset({1})}


def test_a_weak_link_is_a_gap_whose_chance_is_told() -> None:
    # odds of the pair, less the share of such pairs, plus those of a link: -2.5 + 2.2 - 0.7
    found = divide([0, 1], {(0, 1): -2.5}, {})
    assert looks_of(found) == {frozenset({0}), frozenset({1})}
    (doubt,) = found.doubts
    assert doubt.chance == pytest.approx(1 / (1 + 2.718281828), rel=1e-6)
    assert (doubt.first, doubt.second) == (0, 1)


def test_a_link_that_may_be_wrong_names_the_look_that_may_be_parted() -> None:
    found = divide([0, 1], {(0, 1): -0.5}, {})
    (doubt,) = found.doubts
    assert doubt.second is None
    assert doubt.chance == pytest.approx(1 / (1 + 2.718281828), rel=1e-6)


def test_a_photo_whose_looks_match_no_others_is_one_of_backs() -> None:
    # photos 0 and 1 show boards 0 and 1; photo 2 shows their backs
    photo_of = [0, 0, 1, 1, 2, 2]
    same = odds(photo_of, [0, 1, 0, 1, 7, 8])
    opposite = {(0, 4): 1.0, (2, 4): 0.5, (0, 5): -1.0, (1, 5): 0.8, (3, 5): 0.9, (1, 4): 0.1}
    found = divide(photo_of, same, opposite)
    assert {(group.fronts, group.backs) for group in found.groups} == {((0, 2), (4,)), ((1, 3), (5,))}


def test_faces_are_paired_all_together() -> None:
    # one by one, board 0 would take back 4 and leave board 1 the worse one
    photo_of = [0, 0, 1, 1, 2, 2]
    same = odds(photo_of, [0, 1, 0, 1, 7, 8])
    opposite = {(0, 4): 1.0, (0, 5): 0.9, (1, 4): 0.9, (1, 5): -2.4}
    found = divide(photo_of, same, opposite)
    assert {(group.fronts, group.backs) for group in found.groups} == {((0, 2), (5,)), ((1, 3), (4,))}


def test_what_a_person_says_outweighs_what_was_seen() -> None:
    photo_of = [0, 1, 2]
    same = odds(photo_of, [0, 0, 1])
    assert looks_of(divide(photo_of, same, {}, Said.of(apart=[(1, 0)]))) == {frozenset({n}) for n in range(3)}
    joined = divide(photo_of, same, {}, Said.of(together=[(0, 2)], apart=[(0, 1), (1, 2)]))
    assert looks_of(joined) == {frozenset({0, 2}), frozenset({1})}
    faces = divide(photo_of, same, {}, Said.of(faces=[(2, 1)]))
    assert looks_of(faces) == {frozenset({0, 1, 2})}
    assert {(g.fronts, g.backs) for g in faces.groups} == {((0, 1), (2,))}


@given(st.data())
def test_the_order_of_looks_does_not_matter(data: st.DataObject) -> None:
    photos = data.draw(st.integers(2, 4))
    seen = [(p, b) for p in range(photos) for b in range(4) if data.draw(st.booleans())]
    shuffled = data.draw(st.permutations(seen))

    def groups(order: list[tuple[int, int]]) -> set[frozenset[tuple[int, int]]]:
        photo_of, board_of = [p for p, _ in order], [b for _, b in order]
        found = divide(photo_of, odds(photo_of, board_of), {}).groups
        # a photo of its own boards alone may be taken for backs: faces apart
        return {frozenset(order[n] for n in group.looks) for group in found}

    assert groups(list(seen)) == groups(list(shuffled))
