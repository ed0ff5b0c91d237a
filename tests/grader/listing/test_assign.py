"""Which looks are at one board: worked out by hand from odds."""

from itertools import combinations

from hypothesis import given
from hypothesis import strategies as st

from grader.listing.assign import Group, Said, divide


def odds(
    photo_of: list[int], board_of: list[int], yes: float = 4.0, no: float = -5.0
) -> dict[tuple[int, int], float]:
    """Odds that speak clearly for the boards that looks are at."""
    return {
        (i, j): yes if board_of[i] == board_of[j] else no
        for i, j in combinations(range(len(photo_of)), 2)
        if photo_of[i] != photo_of[j]
    }


def looks_of(found: list[Group]) -> set[frozenset[int]]:
    return {frozenset(group.looks) for group in found}


def test_clear_odds_give_each_board_once() -> None:
    photo_of, board_of = [0, 0, 0, 1, 1, 2], [0, 1, 2, 1, 0, 2]
    found = divide(photo_of, odds(photo_of, board_of), {})
    assert looks_of(found) == {frozenset({0, 4}), frozenset({1, 3}), frozenset({2, 5})}


def test_two_looks_in_one_photo_are_never_one_board() -> None:
    photo_of = [0, 0, 1]
    found = divide(photo_of, {(0, 2): 3.0, (1, 2): 2.5}, {})
    assert looks_of(found) == {frozenset({0, 2}), frozenset({1})}


def test_a_photo_whose_looks_match_no_others_is_one_of_backs() -> None:
    # photos 0 and 1 show boards 0 and 1; photo 2 shows their backs
    photo_of = [0, 0, 1, 1, 2, 2]
    same = odds(photo_of, [0, 1, 0, 1, 7, 8])
    opposite = {(0, 4): 1.0, (2, 4): 0.5, (0, 5): -1.0, (1, 5): 0.8, (3, 5): 0.9, (1, 4): 0.1}
    found = divide(photo_of, same, opposite)
    assert {(group.fronts, group.backs) for group in found} == {((0, 2), (4,)), ((1, 3), (5,))}


def test_faces_are_paired_all_together() -> None:
    # one by one, board 0 would take back 4 and leave board 1 the worse one
    photo_of = [0, 0, 1, 1, 2, 2]
    same = odds(photo_of, [0, 1, 0, 1, 7, 8])
    opposite = {(0, 4): 1.0, (0, 5): 0.9, (1, 4): 0.9, (1, 5): -2.4}
    found = divide(photo_of, same, opposite)
    assert {(group.fronts, group.backs) for group in found} == {((0, 2), (5,)), ((1, 3), (4,))}


def test_what_a_person_says_outweighs_what_was_seen() -> None:
    photo_of = [0, 1, 2]
    same = odds(photo_of, [0, 0, 1])
    assert looks_of(divide(photo_of, same, {}, Said.of(apart=[(1, 0)]))) == {frozenset({n}) for n in range(3)}
    joined = divide(photo_of, same, {}, Said.of(together=[(0, 2)], apart=[(0, 1), (1, 2)]))
    assert looks_of(joined) == {frozenset({0, 2}), frozenset({1})}
    faces = divide(photo_of, same, {}, Said.of(faces=[(2, 1)]))
    assert looks_of(faces) == {frozenset({0, 1, 2})}
    assert {(g.fronts, g.backs) for g in faces} == {((0, 1), (2,))}


@given(st.data())
def test_the_order_of_looks_does_not_matter(data: st.DataObject) -> None:
    photos = data.draw(st.integers(2, 4))
    seen = [(p, b) for p in range(photos) for b in range(4) if data.draw(st.booleans())]
    shuffled = data.draw(st.permutations(seen))

    def groups(order: list[tuple[int, int]]) -> set[frozenset[tuple[int, int]]]:
        photo_of, board_of = [p for p, _ in order], [b for _, b in order]
        found = divide(photo_of, odds(photo_of, board_of), {})
        # a photo of its own boards alone may be taken for backs: faces apart
        return {frozenset(order[n] for n in group.looks) for group in found}

    assert groups(list(seen)) == groups(list(shuffled))
