"""What is kept from one call to the next: measurements in files, the measured check bar, what yields taught."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.distributions import Distribution
from calibration.errors import LogError, UsageError
from calibration.print_check import load_print_check
from calibration.thickness import GoldProperties
from grader.keywords import checks_call
from grader.measured import documents_in
from grader.measured_photo import MeasuredPhoto
from grader.model import Finish
from grader.places import has_log, log_path, print_check_path

if TYPE_CHECKING:
    from grader.log import Log


@checks_call
def load_measurement(path: str | Path) -> MeasuredPhoto:
    """Load a measurement from a JSON file written by ``MeasuredPhoto.save`` or ``grader measure --json``.

    Raises:
        DataFileError: the file cannot be read or does not hold a measurement.
        UsageError: ``measurements-several``.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> grader.measure(samples_folder() / "memory-modules.jpg").save("boards.json")
        >>> grader.load_measurement("boards.json")
        <MeasuredPhoto memory-modules.jpg: ... mm² (...) plated, ... mg (...) gold>
    """
    documents = documents_in(Path(path))
    if len(documents) > 1:
        raise UsageError(
            "measurements-several",
            f"{path} holds {len(documents)} measurements.",
            "Hand the file to grader.value, or read its lines and hand each to MeasuredPhoto.from_dict.",
        )
    return MeasuredPhoto.from_dict(documents[0])


def own_print_factor(path: str | Path | None) -> Distribution | None:
    """Print factor by the check bar measured on one's own target; None where none was measured."""
    check = load_print_check(print_check_path() if path is None else Path(path))
    return None if check is None else check.print_factor()


def learned_properties(
    log: str | Path | Log | None, part: str, seller: str
) -> Mapping[Finish, GoldProperties] | None:
    """What yields taught about these boards; None without a log or without usable yields."""
    if log is None and not has_log(log_path()):
        return None
    from grader.learn.newest import newest_at, newest_in  # with SQLAlchemy: only where there is a log

    try:
        found = newest_at(log) if log is None or isinstance(log, str | Path) else newest_in(log)
    except LogError as error:
        if log is None and error.code == "log-missing":
            return None
        raise
    return None if found is None else found.properties(part, seller)
