"""Writing a file so that it is there wholly or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from calibration.errors import UsageError


def check_place(path: Path) -> None:
    """Say before long work that its result could not be written.

    Raises:
        UsageError: the folder does not exist, or the path is a folder itself.
    """
    if path.is_dir() or not path.parent.is_dir():
        why = "it is a folder" if path.is_dir() else "its folder does not exist"
        raise UsageError(
            "cannot-write", f"{path} cannot be written ({why}).", "Choose a folder that exists and is yours."
        )


def write_whole(path: Path, data: bytes) -> None:
    """Write a file beside its place, flush it to the disk, then put it there in one step.

    Raises:
        UsageError: the folder does not exist or cannot be written to.
    """
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(temporary).chmod(0o644)
            Path(temporary).replace(path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise UsageError(
            "cannot-write",
            f"{path} cannot be written ({error.strerror}).",
            "Choose a folder that exists and is yours.",
        ) from error
