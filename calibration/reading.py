"""Read users' files safely: bytes, text, TOML and JSON.

At most a stated number of bytes is read, so that a file of gigabytes, or an endless device, costs no memory. Every
fault of a file or its syntax ends in a ``DataFileError``.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, GraderError
from calibration.packaged import toml_of

# Python's floats end at 309 digits; no figure here needs more.
_MOST_DIGITS = 308


@dataclass(frozen=True)
class FileKind:
    """A kind of file: its size limit and the wording of its errors.

    Attributes:
        code: the first part of its errors' codes: ``CODE-unreadable``, ``CODE-invalid``.
        what: its name in words, with an article, such as "a file of assumptions".
        most_bytes: largest size.
        fix: advice if the contents are wrong.
    """

    code: str
    what: str
    most_bytes: int
    fix: str

    def unreadable(self, path: Path, error: OSError | ValueError) -> DataFileError:
        """The error for a file that cannot be opened or read."""
        why = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return DataFileError(f"{self.code}-unreadable", f"{path} cannot be read ({why}).", "Check the file's name.")

    def invalid(self, name: str, why: str) -> DataFileError:
        """The error for a file whose contents are wrong."""
        return DataFileError(f"{self.code}-invalid", f"{name}: {why}.", self.fix)


def read_bytes(path: Path, kind: FileKind) -> bytes:
    """All bytes of a file.

    Raises:
        DataFileError: it cannot be read, or exceeds the size limit of its kind.
    """
    try:
        with path.open("rb") as file:
            data = file.read(kind.most_bytes + 1)
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        raise kind.unreadable(path, error) from error
    if len(data) > kind.most_bytes:
        raise kind.invalid(path.name, f"it is too large for {kind.what}")
    return data


def read_text(path: Path, kind: FileKind) -> str:
    """A file's text, UTF-8 with or without a byte order mark.

    Raises:
        DataFileError: as ``read_bytes``, or it is not UTF-8 text.
    """
    try:
        return read_bytes(path, kind).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise kind.invalid(path.name, "it is not UTF-8 text") from error


def read_toml(path: Path, kind: FileKind) -> dict[str, Any]:
    """A file's TOML document.

    Raises:
        DataFileError: as ``read_text``, or it is not TOML.
    """
    return parse_toml(read_text(path, kind), path.name, kind)


def parse_toml(text: str, name: str, kind: FileKind) -> dict[str, Any]:
    """The TOML document of a text; ``name`` is for the message.

    Raises:
        DataFileError: it is not TOML.
    """
    try:
        return toml_of(text)
    except ValueError as error:
        raise kind.invalid(name, f"it is not valid TOML ({error})") from error


def json_of(text: str | bytes) -> Any:
    """The JSON value of a text.

    Raises:
        ValueError: it is not JSON (RFC 8259), is nested too deeply, or holds a number beyond the range of floats.
    """
    try:
        return json.loads(text, parse_constant=_refuse, parse_int=_whole, parse_float=_finite)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


@contextmanager
def as_written(damaged: GraderError) -> Iterator[None]:
    """Raise the given error if a document lacks a part, or holds a different one from when it was written."""
    try:
        yield
    except GraderError:
        raise
    except (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError) as error:
        raise damaged from error


def sha256_of(path: Path) -> str:
    """The sha256 of a file's bytes, in hexadecimal, without keeping them.

    Raises:
        OSError: it cannot be read, or is not a file: a device may be endless.
        ValueError: the name holds a NUL.
    """
    with path.open("rb") as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(0, "no file")
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refuse(word: str) -> float:
    raise ValueError(f"{word} is not a number")


def _finite(digits: str) -> float:
    number = float(digits)
    if math.isinf(number):
        raise ValueError(f"{digits[:20]} is too large")
    return number


def _whole(digits: str) -> int:
    if len(digits) > _MOST_DIGITS:
        raise ValueError(f"a whole number of {len(digits)} digits")
    return int(digits)
