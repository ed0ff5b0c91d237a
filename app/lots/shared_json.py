"""A JSON file that several windows and programs change without losing anything.

A change reads, changes and writes under a lock of all programs. The file is replaced whole and flushed to the disk,
so that we never leave an incomplete file; a file that somebody else damaged is reported, never overwritten.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from app.lots.process_lock import ProcessLock
from calibration.errors import DataFileError, UsageError
from calibration.files import write_whole

_MAX_BYTES = 16_000_000
_MOST_DIGITS = 18  # of a whole number: our figures have no more digits, and a float holds no number beyond 10 ** 308
T = TypeVar("T")
Json = dict[str, Any]
# Errors that can arise when reading or using values that differ from what we wrote.
UNSOUND = (LookupError, TypeError, ValueError, AttributeError, ArithmeticError, RecursionError)


class SharedJson:
    """One such file.

    Attributes:
        path: of the file.
        lock: held while the file is changed; code that changes other files along with it holds the lock too.
    """

    def __init__(
        self, path: Path, lock: ProcessLock, empty: Callable[[], Json], check: Callable[[Json], object]
    ) -> None:
        """Describe it; nothing is read yet.

        Args:
            path: of the file.
            lock: of all files that are changed together.
            empty: returns the contents before the file exists.
            check: raises one of ``UNSOUND`` for invalid contents.
        """
        self.path, self.lock = path, lock
        self._empty, self._check = empty, check

    @property
    def changed_at(self) -> float:
        """When it last changed, seconds since 1970; 0 if it does not exist."""
        try:
            return self.path.stat().st_mtime
        except OSError:
            return 0.0

    def read(self) -> Json:
        """The contents.

        Raises:
            DataFileError: ``lot-damaged``: the contents are invalid, or cannot be read.
        """
        try:
            with self.path.open("rb") as file:
                data = file.read(_MAX_BYTES + 1)
        except (FileNotFoundError, NotADirectoryError):
            return self._empty()
        except OSError as error:
            raise self._damaged(error.strerror or "not readable") from error
        if len(data) > _MAX_BYTES:
            raise self._damaged("far too long")
        try:
            content: Json = loads(data)
            self._check(content)
        except UNSOUND as error:
            raise self._damaged("empty" if not data.strip() else "not what this program wrote") from error
        return content

    def change(self, change: Callable[[Json], T]) -> T:
        """Change the contents, and return the result of ``change``.

        Raises:
            DataFileError: as ``read``; nothing is changed then.
            UsageError: it cannot be written; the earlier contents stay.
        """
        with self.lock:
            content = self.read()
            given = change(content)
            put_file(self.path, json.dumps(content).encode())
            return given

    def put_aside(self) -> Path | None:
        """Rename the file, so that a new one can begin; return the new name, or None if there is no file."""
        with self.lock:
            for number in range(1, 10_000):
                aside = self.path.with_name(f"{self.path.stem}.damaged-{number}{self.path.suffix}")
                if not os.path.lexists(aside):
                    break
            try:
                self.path.rename(aside)
            except FileNotFoundError:
                return None
            except OSError as error:
                raise _unwritable(self.path, error) from error
            return aside

    def _damaged(self, why: str) -> DataFileError:
        return DataFileError(
            "lot-damaged",
            f"{self.path} is damaged: it is {why}.",
            "Nothing was changed. Put a copy of the file back if you have one, or begin anew; the file is kept.",
        )


def loads(data: bytes) -> Any:
    """Read JSON; numbers larger than any of our figures are refused.

    Raises:
        ValueError, RecursionError: it is not such JSON.
    """
    return json.loads(data, parse_int=_whole)


def _whole(digits: str) -> int:
    if len(digits) > _MOST_DIGITS + 1:
        raise ValueError("a whole number of too many digits")
    return int(digits)


def put_file(path: Path, data: bytes) -> None:
    """Write a file completely or not at all, making its folder if necessary.

    Raises:
        UsageError: ``cannot-write``; an existing file stays.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise _unwritable(path, error) from error
    write_whole(path, data)


def _unwritable(path: Path, error: OSError) -> UsageError:
    return UsageError(
        "cannot-write",
        f"{path} cannot be written ({error.strerror}).",
        "Check that the disk has room and the folder is yours; what was kept before is still there.",
    )
