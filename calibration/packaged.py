"""Data files that came with the program, and the syntax that they and people's own are in."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any


def packaged_toml(package: str, path: str) -> dict[str, Any]:
    """The TOML document of a data file that came with the program."""
    return toml_of(packaged_text(package, path))


def packaged_text(package: str, path: str) -> str:
    """The text of a data file that came with the program."""
    return resources.files(package).joinpath(path).read_text("utf-8")


def toml_of(text: str) -> dict[str, Any]:
    """The TOML document of a text.

    Raises:
        ValueError: it is not TOML, is nested too deeply, or holds a number of thousands of digits.
    """
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deeply") from error
