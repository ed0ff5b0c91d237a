"""Height of the boards' faces above the sheet or the table: a board's thickness and the gap under it."""

from __future__ import annotations

from calibration.area_factors import as_sample, draws_of
from calibration.digits import as_given
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.sourced import load_inputs

_THICKEST_MM = 50.0


def face_height(thickness_mm: float | None = None) -> Distribution:
    """Distribution of the face's height in mm above the surface under the board.

    Args:
        thickness_mm: stated thickness of the boards (with its usual tolerance); without it, that of common boards.

    Raises:
        UsageError: a thickness that a board cannot have.
    """
    inputs = load_inputs("scale_inputs")
    lift = draws_of(inputs["board-lift"].distribution, stream=1)
    if thickness_mm is None:
        return as_sample(draws_of(inputs["board-thickness"].distribution, stream=2) + lift)
    if not 0 <= thickness_mm <= _THICKEST_MM:
        raise UsageError(
            "thickness-invalid",
            f"A board cannot be {as_given(thickness_mm)} mm thick.",
            f"Give a thickness from 0 to {as_given(_THICKEST_MM)} mm, such as 1.6 mm.",
        )
    return as_sample(thickness_mm * draws_of(inputs["thickness-tolerance"].distribution, stream=2) + lift)
