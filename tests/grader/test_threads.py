"""Parts of one work on several threads."""

import threading

import cv2
import pytest

from grader.threads import in_parallel


def test_results_come_in_the_order_of_the_parts_whichever_is_done_first() -> None:
    second_done = threading.Event()

    def work(part: int) -> int:
        if part == 0 and cv2.getNumThreads() > 1:
            assert second_done.wait(10)
        if part == 1:
            second_done.set()
        return part * part

    assert in_parallel(work, range(5)) == [0, 1, 4, 9, 16]


def test_nothing_to_do_gives_nothing() -> None:
    assert in_parallel(abs, []) == []


def test_an_error_in_a_part_reaches_the_caller() -> None:
    with pytest.raises(ZeroDivisionError):
        in_parallel(lambda part: 1 / part, [1, 0, 2])
