"""Write files completely or not at all, and check paths.

A file is written beside its place and put there in one step. Only files are replaced: a device or a pipe is written
to, a symbolic link is followed, and a folder, a socket or a disk is refused.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import tempfile
import time
from pathlib import Path

from calibration.errors import UsageError

_FILE_MODE = 0o644
# Time to wait for a reader of a named pipe before it counts as forgotten.
_READER_S = 5.0
_OPEN_FILES = re.compile(r"/(?:proc/\d+(?:/task/\d+)?|dev)/fd")
_LINKS = 40  # as many as Linux follows

_ADVICE = {
    errno.ENOSPC: "The disk is full: free some space, or choose another disk.",
    errno.EDQUOT: "Your share of the disk is used up: free some space, or choose another disk.",
    errno.EFBIG: "The file would be too large for that disk: choose another.",
    errno.EROFS: "Nothing can be written there: choose a folder on another disk.",
    errno.EACCES: "Choose a folder that is yours, or change its permissions.",
    errno.EPERM: "Choose a folder that is yours, or change its permissions.",
    errno.ENAMETOOLONG: "Choose a shorter name.",
    errno.ELOOP: "The links lead back to themselves: name the file itself.",
    errno.ENXIO: "Nothing reads from it: first start what is to read the result.",
    errno.EPIPE: "What was to read the result has ended: start it again.",
    errno.EIO: "The disk or its connection fails: choose another disk.",
    errno.EMFILE: "Too many files are open: close other programs and try again.",
    errno.ENFILE: "Too many files are open: close other programs and try again.",
    errno.ENOMEM: "The memory is used up: close other programs and try again.",
}
_OTHERWISE = "Choose a folder that exists and is yours."


def advice_for(error: OSError, otherwise: str = _OTHERWISE) -> str:
    """Advice for a system error."""
    return _ADVICE.get(error.errno or 0, otherwise)


def cannot_write(path: Path, error: OSError) -> UsageError:
    """The error for a path that cannot be written."""
    return UsageError("cannot-write", f"{path} cannot be written ({error.strerror or error}).", advice_for(error))


def is_there(path: Path) -> bool:
    """Whether a path exists; False for an impossible name."""
    return os.path.exists(path)  # noqa: PTH110 - pathlib raises where a name is too long


def is_file(path: Path) -> bool:
    """Whether a path is a file; False for an impossible name."""
    return os.path.isfile(path)  # noqa: PTH113 - pathlib raises where a name is too long


def is_folder(path: Path) -> bool:
    """Whether a path is a folder; False for an impossible name."""
    return os.path.isdir(path)  # noqa: PTH112 - pathlib raises where a name is too long


def check_place(path: Path) -> None:
    """Check, before long work, that its result can be written.

    Raises:
        UsageError: ``cannot-write``: no such folder, an impossible name, or something that is neither file, device
            nor pipe.
    """
    try:
        place, _ = _place(path)
        # Only a query reveals a name that is too long.
        if place is not None and not is_there(place):
            place.lstat()
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as error:
        raise _as_usage(path, error) from error
    if not is_folder((path if place is None else place).parent):
        raise _refused(path, "its folder does not exist", _OTHERWISE)


def write_whole(path: Path, data: bytes) -> None:
    """Write a temporary file next to the target, flush it to disk, then rename it in one step; follows links.

    A device or a named pipe is written to as it is.

    Raises:
        UsageError: ``cannot-write``: the folder does not exist or cannot be written to, or something is there that
            is neither file, device nor pipe.
    """
    try:
        place, mode = _place(path)
        if place is None:
            _write_through(path, data)
        else:
            _replace(place, data, mode)
    except (OSError, ValueError) as error:
        raise _as_usage(path, error) from error


def _place(path: Path) -> tuple[Path | None, int]:
    """The place and mode of the file itself; None for anything that is to be written through.

    Raises:
        OSError: the system gives no answer.
        UsageError: the existing thing can be neither replaced nor written to.
    """
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:  # nothing there, or a link to nothing
        return Path(os.path.realpath(path)), _FILE_MODE
    if stat.S_ISDIR(mode):
        raise _refused(path, "it is a folder", _OTHERWISE)
    if stat.S_ISREG(mode):
        if _is_open_file(path):
            raise _refused(path, "it is a file that is open already", "Name the file itself.")
        return Path(os.path.realpath(path)), stat.S_IMODE(mode)
    if stat.S_ISCHR(mode) or stat.S_ISFIFO(mode):
        return None, 0
    what = "a socket" if stat.S_ISSOCK(mode) else "a disk" if stat.S_ISBLK(mode) else "no file"
    raise _refused(path, f"it is {what}", "Name a file.")


def _is_open_file(path: Path) -> bool:
    """Whether a path leads through a process's open files, like /dev/stdout: such a file must keep its place."""
    for _ in range(_LINKS):
        if not path.is_symlink():
            return False
        folder = os.path.realpath(path.parent)
        if _OPEN_FILES.fullmatch(folder):
            return True
        path = Path(folder) / path.readlink()
    return False


def _as_usage(path: Path, error: OSError | ValueError) -> UsageError:
    if isinstance(error, UsageError):
        return error
    if isinstance(error, OSError):
        return cannot_write(path, error)
    return _refused(path, "the name is not allowed", "Choose another name.")  # a NUL in it


def _refused(path: Path, why: str, advice: str) -> UsageError:
    return UsageError("cannot-write", f"{path} cannot be written ({why}).", advice)


def _replace(place: Path, data: bytes, mode: int) -> None:
    handle, temporary = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name[:20]}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).chmod(mode)
        Path(temporary).replace(place)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _write_through(path: Path, data: bytes) -> None:
    with os.fdopen(_opened(path), "wb") as file:
        file.write(data)


def _opened(path: Path) -> int:
    """Open a device or pipe for writing; wait for a reader of a pipe, but not for ever."""
    until = time.monotonic() + _READER_S
    while True:
        try:
            handle = os.open(path, os.O_WRONLY | getattr(os, "O_NONBLOCK", 0))
        except OSError as error:
            if error.errno != errno.ENXIO or time.monotonic() > until:
                raise
            time.sleep(0.05)
        else:
            if hasattr(os, "set_blocking"):
                os.set_blocking(handle, True)
            return handle
