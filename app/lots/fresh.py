"""Photos just measured, still with their pixels: their comparison need not measure them again."""

from __future__ import annotations

import json
from collections import OrderedDict
from threading import Lock

from grader.pipeline import Measurement
from grader.request import Request

_MOST_PX = 24_000_000  # twelve pictures as sellers show them; some 8 bytes a pixel


class FreshMeasurements:
    """Measurements that wait to be compared, as found, without corrections. The oldest go first where room is short.

    Args:
        most_px: pixels of all photos together.
    """

    def __init__(self, most_px: int = _MOST_PX) -> None:
        self._most_px = most_px
        self._kept: OrderedDict[tuple[str, str], Measurement] = OrderedDict()
        self._turn = Lock()

    def put(self, found: Measurement) -> None:
        """Keep one in memory."""
        with self._turn:
            self._kept[_key(found.photo.sha256, found.request)] = found
            while sum(_px(each) for each in self._kept.values()) > self._most_px:
                self._kept.popitem(last=False)

    def take(self, sha256: str, request: Request) -> Measurement | None:
        """A photo measured in this way, which is then forgotten here; None where it is not in memory."""
        with self._turn:
            return self._kept.pop(_key(sha256, request), None)


def _key(sha256: str, request: Request) -> tuple[str, str]:
    """A request may hold learned properties, which cannot be hashed; as text it can."""
    return sha256, json.dumps(request.as_json(), sort_keys=True)


def _px(found: Measurement) -> int:
    height, width = found.photo.rgb.shape[:2]
    return int(height * width)
