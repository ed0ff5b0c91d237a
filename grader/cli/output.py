"""What all commands share in speaking to a person or to a pipe."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any

from rich.console import Console

from calibration.errors import GraderError, UsageError

# Rich drops colour and boxes' control codes by itself when the output is piped.
out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)


def show_error(error: GraderError, about: str = "") -> None:
    """One error for a person: what is wrong, and what to do next."""
    where = f"{about}: " if about else ""
    err.print(f"[bold red]{where}[/]{_plain(error.message)}")
    err.print(f"  → {_plain(error.advice)}")


def _plain(text: str) -> str:
    """Text that Rich must not read as markup."""
    return text.replace("[", r"\[")


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is there wholly or not at all.

    Raises:
        UsageError: the folder does not exist or cannot be written to.
    """
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent or Path(), prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
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


def as_json(data: Any) -> bytes:
    """A JSON document, UTF-8, one line, ended by a newline. Not-a-number is a defect, so it raises ValueError."""
    return (json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n").encode()
