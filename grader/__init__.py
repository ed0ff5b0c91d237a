"""From a photo of circuit boards to the most to pay for them.

What the names below hold is loaded when it is first used, so that importing the package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from grader.version import __version__ as __version__

if TYPE_CHECKING:
    from calibration.errors import GraderError
    from grader.api import load_measurement, measure, read_listing, value
    from grader.figures import Figure
    from grader.log.store import open_log
    from grader.lot_offer import LotOffer
    from grader.measured_photo import MeasuredPhoto
    from grader.photo.load import load_photo


__all__ = [
    "Figure",
    "GraderError",
    "LotOffer",
    "MeasuredPhoto",
    "load_measurement",
    "load_photo",
    "measure",
    "open_log",
    "read_listing",
    "value",
]

_HOMES = {
    "Figure": "grader.figures",
    "GraderError": "calibration.errors",
    "LotOffer": "grader.lot_offer",
    "MeasuredPhoto": "grader.measured_photo",
    "load_measurement": "grader.api",
    "load_photo": "grader.photo.load",
    "measure": "grader.api",
    "open_log": "grader.log.store",
    "read_listing": "grader.api",
    "value": "grader.api",
}


def __getattr__(name: str) -> Any:
    """A public name, loaded from its module."""
    if name not in _HOMES:
        raise AttributeError(f"module 'grader' has no attribute '{name}'")
    found = globals()[name] = getattr(import_module(_HOMES[name]), name)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
