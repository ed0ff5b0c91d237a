"""Work that falls into parts, done on as many threads at once as OpenCV uses.

It pays where the parts spend their time in OpenCV and in large numpy operations, which leave the interpreter free.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import cv2

Item = TypeVar("Item")
Result = TypeVar("Result")


def in_parallel(work: Callable[[Item], Result], parts: Iterable[Item]) -> list[Result]:
    """What the work gives for each part, in their order.

    Args:
        work: must bear to be called by several threads at once.
        parts: of about the same size, or the larger first.
    """
    with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as pool:
        return list(pool.map(work, parts))
