"""Named sets of assumptions: one TOML file each, in one folder, to be edited with any editor."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from calibration.errors import UsageError
from calibration.files import is_file, is_there
from grader.valuation.assumptions import load_assumptions
from grader.valuation.model import Assumptions

_ENDING = ".toml"


def sets_in(folder: Path) -> Mapping[str, Path]:
    """Names and files of the sets in a folder, which need not exist."""
    return {path.stem: path for path in sorted(folder.glob(f"*{_ENDING}")) if is_file(path)}


def load_set(given: str | None, folder: Path) -> Assumptions:
    """Assumptions by a set's name or a file's path; the shipped examples for None.

    Raises:
        UsageError: ``assumptions-unknown``: neither a file nor a set; or as ``load_assumptions``.
    """
    if given is None:
        return load_assumptions()
    known = sets_in(folder)
    if given in known:
        return load_assumptions(known[given])
    path = Path(given)
    if not is_there(path) and path.suffix != _ENDING:
        named = f" Sets there: {', '.join(known)}." if known else ""
        raise UsageError(
            "assumptions-unknown",
            f"There is no file or assumption set named '{given}' in {folder}.{named}",
            "Start from a copy of the example set.",
            values={"file": folder / (given + _ENDING)},
        )
    return load_assumptions(path)
