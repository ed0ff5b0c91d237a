"""A log in a folder of its own, under a clock that only moves when told."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from grader.log import Log, open_log


class Clock:
    """Ticks one second at each look."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.moment += timedelta(seconds=1)
        return self.moment


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


@pytest.fixture
def log(path: Path) -> Iterator[Log]:
    with open_log(path, clock=Clock()) as opened:
        yield opened
