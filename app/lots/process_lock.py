"""A lock that holds between programs, for as long as a file is read, changed and written."""

from __future__ import annotations

import errno
import os
import sys
import time
from pathlib import Path
from threading import RLock
from types import TracebackType

from calibration.digits import as_given
from calibration.errors import UsageError

_PATIENCE_S, _AGAIN_S = 20.0, 0.01
# file systems without locks, such as some of a network or a sandbox: there, only one program at a time is supported
_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL}


class ProcessLock:
    """A lock held by one thread of one program at a time; its holder may take it again.

    The system releases it when a program ends, for whatever reason. Its file stays: if it were removed, two programs
    could hold locks on two files of that name.
    """

    def __init__(self, path: Path, patience_s: float = _PATIENCE_S) -> None:
        """Prepare the lock.

        Args:
            path: of the lock's file; its folder is created if necessary.
            patience_s: how long to wait for others, s.
        """
        self._path, self._patience_s = path, patience_s
        self._here, self._times, self._file = RLock(), 0, -1

    def __enter__(self) -> None:
        """Take the lock.

        Raises:
            UsageError: ``lot-busy``, or the file cannot be created.
        """
        if not self._here.acquire(timeout=self._patience_s):
            raise self._busy()
        try:
            if self._times == 0:
                self._file = self._open()
            self._times += 1
        except BaseException:
            self._here.release()
            raise

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Release the lock."""
        self._times -= 1
        if self._times == 0:
            os.close(self._file)
        self._here.release()

    def _open(self) -> int:
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise UsageError(
                "cannot-write",
                f"{self._path} cannot be written ({error.strerror}).",
                "Check that this folder is yours and the disk has room.",
            ) from error
        try:
            self._wait_for(file)
        except BaseException:
            os.close(file)
            raise
        return file

    def _wait_for(self, file: int) -> None:
        end = time.monotonic() + self._patience_s
        while not _is_taken(file):
            if time.monotonic() > end:
                raise self._busy()
            time.sleep(_AGAIN_S)

    def _busy(self) -> UsageError:
        return UsageError(
            "lot-busy",
            f"Another program has held {self._path.parent} for more than {as_given(self._patience_s)} s.",
            "Try again; if it stays so, close other windows and programs that show this page.",
        )


if sys.platform == "win32":
    import msvcrt

    def _is_taken(file: int) -> bool:
        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _is_taken(file: int) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError as error:
            if error.errno not in _NO_LOCKS:
                raise
        return True
