"""What gives the scale of a photo, as a person chooses it; and its form as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from calibration.target import PatchPlace, TargetDescription

Point = tuple[float, float]


@dataclass(frozen=True)
class ByTarget:
    """Scale from a ChArUco sheet that the user describes."""

    target: TargetDescription


@dataclass(frozen=True)
class ByLength:
    """Scale from a known length between two marked points; without its standard deviation the usual one is taken."""

    length_mm: float
    start_px: Point
    end_px: Point
    length_sd_mm: float | None = None


@dataclass(frozen=True)
class ByRectangle:
    """Scale from a known rectangle with four marked corners; the first edge has the first length."""

    sides_mm: tuple[float, float]
    corners_px: tuple[Point, Point, Point, Point]
    side_sd_mm: float | None = None


@dataclass(frozen=True)
class ByCoin:
    """Scale from a coin: points on its upper rim, five or more."""

    diameter_mm: float
    thickness_mm: float
    rim_px: tuple[Point, ...]
    diameter_sd_mm: float | None = None


@dataclass(frozen=True)
class ByPitch:
    """Scale from the known pitch of the longest row of contacts."""

    pitch_mm: float


@dataclass(frozen=True)
class Automatic:
    """Look for our own printed target, then for contacts of a published outline; refuse where there is neither."""


@dataclass(frozen=True)
class WithoutScale:
    """Shares of the frame only."""


AUTOMATIC = Automatic()

ScaleChoice = ByTarget | ByLength | ByRectangle | ByCoin | ByPitch | Automatic | WithoutScale


def scale_choice_json(scale: ScaleChoice) -> dict[str, Any]:
    """A JSON object that ``scale_choice_of`` reads back to an equal value."""
    return {"kind": type(scale).__name__, **asdict(scale)}


def scale_choice_of(data: Mapping[str, Any]) -> ScaleChoice:
    """The inverse of ``scale_choice_json``.

    Raises:
        KeyError, TypeError, ValueError: the object is not one that it writes.
    """
    match data["kind"]:
        case "ByTarget":
            return ByTarget(_target(data["target"]))
        case "ByLength":
            return ByLength(data["length_mm"], _pair(data["start_px"]), _pair(data["end_px"]), data["length_sd_mm"])
        case "ByRectangle":
            a, b, c, d = (_pair(corner) for corner in data["corners_px"])
            return ByRectangle(_pair(data["sides_mm"]), (a, b, c, d), data["side_sd_mm"])
        case "ByCoin":
            rim = tuple(_pair(point) for point in data["rim_px"])
            return ByCoin(data["diameter_mm"], data["thickness_mm"], rim, data["diameter_sd_mm"])
        case "ByPitch":
            return ByPitch(data["pitch_mm"])
        case "WithoutScale":
            return WithoutScale()
        case "Automatic":
            return Automatic()
    raise ValueError(f"no scale is called {data['kind']}")


def _target(data: Mapping[str, Any]) -> TargetDescription:
    sheet = data["sheet_mm"]
    more = {
        "origin_mm": _pair(data["origin_mm"]),
        "sheet_mm": None if sheet is None else _pair(sheet),
        "grey_patches": tuple(PatchPlace(**patch) for patch in data["grey_patches"]),
    }
    return TargetDescription(**{**data, **more})


def _pair(values: Any) -> tuple[float, float]:
    first, second = values
    return float(first), float(second)
