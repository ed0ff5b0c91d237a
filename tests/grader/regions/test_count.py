"""What outlines say of the number of boards: the more doubtful each is, the wider the range."""

import numpy as np
import pytest

from grader.regions import Board
from grader.regions.count import by_outlines, count_boards
from grader.regions.evidence import OutlineEvidence

ALONE = OutlineEvidence(is_alone=True, sides_seen=0.95, fits=0.95, rectangles=1)
CLEAR = OutlineEvidence(is_alone=False, sides_seen=0.95, fits=0.95, rectangles=1)
FAINT = OutlineEvidence(is_alone=False, sides_seen=0.6, fits=0.7, rectangles=1)
REST = OutlineEvidence(is_alone=False)


def board(evidence: OutlineEvidence | None, *, hidden: bool = False) -> Board:
    return Board(np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0]]), 81.0, hidden, (), evidence)


@pytest.mark.parametrize("number", [1, 3])
def test_boards_that_lie_apart_are_counted(number: int) -> None:
    count = count_boards([board(ALONE)] * number)
    assert (count.low, count.value, count.high) == (number,) * 3
    assert not count.is_exact


def test_boards_that_touch_and_show_their_sides_are_surer_than_those_in_a_heap() -> None:
    def chance_of_three(*others: Board) -> float:
        return dict(count_boards([board(CLEAR), board(CLEAR), *others]).chances)[3]

    assert chance_of_three(board(CLEAR)) > chance_of_three(board(CLEAR, hidden=True)) > chance_of_three(board(REST))


def test_a_heap_is_not_sure() -> None:
    heap = [board(CLEAR), board(FAINT, hidden=True), board(FAINT, hidden=True), board(REST), board(REST)]
    count = count_boards(heap)
    assert count.low < 5 < count.high
    assert not count.is_sure


def test_no_outline_tells_nothing() -> None:
    count = count_boards([])
    assert count.value == 1
    assert not count.is_sure
    assert count == by_outlines(0)


def test_outlines_alone_tell_less_than_their_evidence() -> None:
    assert dict(by_outlines(4).chances)[4] < dict(count_boards([board(ALONE)] * 4).chances)[4]
    assert by_outlines(4).value == 4
