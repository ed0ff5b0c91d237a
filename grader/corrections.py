"""Corrections by hand as data: what a person changed in what was found on one photo.

All places are in pixels of the photo after EXIF orientation, integer = pixel centre. Nothing here holds state: a list
of corrections means the same whoever applies it, and undoing is leaving off its last item.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.digits import as_given
from calibration.errors import DataFileError
from calibration.finishes import UNDETERMINED
from calibration.reading import FileKind, json_of
from grader.model import FINISHES, Finish

SCHEMA = 1
MOST_ITEMS = 5_000
MOST_POINTS = 20_000
LARGEST_RADIUS_PX = 2_000.0
_LARGEST_PX = 100_000.0

_FIX = "Take the file that the page or a measurement's JSON gave, and do not edit it."
CORRECTIONS_FILE = FileKind(code="corrections", what="corrections", most_bytes=200_000_000, fix=_FIX)

Point = tuple[float, float]


@dataclass(frozen=True)
class FinishChanged:
    """The region found at a place has another finish. It also brings back a region that was left out before.

    Attributes:
        at_px: a place inside the region as the segmenter found it.
        finish: what it is.
        also_px: places in further regions that are alike, such as those of the same row.
    """

    at_px: Point
    finish: Finish
    also_px: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Confirmed:
    """The region found at a place is gold plating, as found. It also brings back a region that was left out before.

    Attributes:
        at_px: a place inside the region as the segmenter found it.
        also_px: places in further regions that are plating too, such as those of the same row.
    """

    at_px: Point
    also_px: tuple[Point, ...] = ()


@dataclass(frozen=True)
class LeftOut:
    """The region found at a place is no gold plating.

    Attributes:
        at_px: a place inside the region as the segmenter found it.
        also_px: places in further regions that are none either, such as those of the same row or board.
    """

    at_px: Point
    also_px: tuple[Point, ...] = ()


@dataclass(frozen=True)
class PaintedIn:
    """All that a round brush swept over is plated.

    Attributes:
        path_px: the brush's middle, at least one place.
        radius_px: of the brush.
        finish: of what was painted.
    """

    path_px: tuple[Point, ...]
    radius_px: float
    finish: Finish = UNDETERMINED


@dataclass(frozen=True)
class PaintedOut:
    """Nothing that a round brush swept over is plated.

    Attributes:
        path_px: the brush's middle, at least one place.
        radius_px: of the brush.
    """

    path_px: tuple[Point, ...]
    radius_px: float


@dataclass(frozen=True)
class FilledIn:
    """All inside a polygon is plated.

    Attributes:
        corners_px: at least three; where its sides cross each other, what lies inside an odd number of times counts.
        finish: of what was filled.
        px_per_screen_px: px of the photo under one px of the screen when the corners were set.
    """

    corners_px: tuple[Point, ...]
    finish: Finish = UNDETERMINED
    px_per_screen_px: float = 1.0


@dataclass(frozen=True)
class FilledOut:
    """Nothing inside a polygon is plated.

    Attributes:
        corners_px: as of ``FilledIn``.
        px_per_screen_px: likewise.
    """

    corners_px: tuple[Point, ...]
    px_per_screen_px: float = 1.0


Brushed = PaintedIn | PaintedOut
Filled = FilledIn | FilledOut
Stroke = Brushed | Filled
OfRegions = FinishChanged | Confirmed | LeftOut
Correction = OfRegions | Stroke


@dataclass(frozen=True)
class Corrections:
    """What was corrected on one photo, in the order in which it was done.

    Of strokes and polygons, the later one counts where they overlap; of corrections of one region, the last. Strokes
    and corrections of regions do not look at each other.

    Attributes:
        items: the corrections.
        photo_sha256: of the photo's file they belong to; empty if it is not known.
    """

    items: tuple[Correction, ...] = ()
    photo_sha256: str = ""

    def __bool__(self) -> bool:
        return bool(self.items)

    @property
    def strokes(self) -> tuple[Stroke, ...]:
        """Strokes of the brush and polygons, in order."""
        return tuple(i for i in self.items if isinstance(i, PaintedIn | PaintedOut | FilledIn | FilledOut))

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back to an equal value."""
        return {
            "schema": SCHEMA,
            "sha256": self.photo_sha256,
            "corrections": [correction_json(i) for i in self.items],
        }

    @staticmethod
    def from_json(data: object) -> Corrections:
        """The inverse of ``as_json``.

        Raises:
            DataFileError: the object is not a list of corrections, or one of them is impossible.
        """
        try:
            if not isinstance(data, Mapping) or data["schema"] != SCHEMA or len(data["corrections"]) > MOST_ITEMS:
                raise _unreadable()
            return Corrections(tuple(map(correction_of, data["corrections"])), str(data.get("sha256", "")))
        except DataFileError:
            raise
        except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
            raise _unreadable() from error


NO_CORRECTIONS = Corrections()


def parse_corrections(text: bytes) -> Corrections:
    """Corrections from a file: a list of them, or a measurement's JSON that carries one.

    Raises:
        DataFileError: it is neither.
    """
    try:
        data = json_of(text)
    except ValueError as error:
        raise _unreadable() from error
    if isinstance(data, Mapping) and isinstance(data.get("corrections"), Mapping):
        data = data["corrections"]
    return Corrections.from_json(data)


def _unreadable(why: str = "It is not a list of corrections.") -> DataFileError:
    return DataFileError("corrections-invalid", f"The corrections cannot be used: {why}", _FIX)


def correction_json(item: Correction) -> dict[str, Any]:
    """A JSON object that ``correction_of`` reads back to an equal value."""
    match item:
        case FinishChanged():
            return {"kind": "finish", **_places_as_json(item), "finish": item.finish}
        case Confirmed():
            return {"kind": "confirm", **_places_as_json(item)}
        case LeftOut():
            return {"kind": "leave_out", **_places_as_json(item)}
        case PaintedIn():
            return {"kind": "paint_in", **_stroke_as_json(item), "finish": item.finish}
        case PaintedOut():
            return {"kind": "paint_out", **_stroke_as_json(item)}
        case FilledIn():
            return {"kind": "fill_in", **_polygon_as_json(item), "finish": item.finish}
        case FilledOut():
            return {"kind": "fill_out", **_polygon_as_json(item)}


def _places_as_json(item: OfRegions) -> dict[str, Any]:
    also = {"also_px": [list(p) for p in item.also_px]} if item.also_px else {}
    return {"at_px": list(item.at_px), **also}


def _polygon_as_json(item: Filled) -> dict[str, Any]:
    return {"corners_px": [list(p) for p in item.corners_px], "px_per_screen_px": item.px_per_screen_px}


def _stroke_as_json(item: Brushed) -> dict[str, Any]:
    return {"path_px": [list(p) for p in item.path_px], "radius_px": item.radius_px}


def correction_of(data: Mapping[str, Any]) -> Correction:
    """The inverse of ``correction_json``.

    Raises:
        DataFileError: the object is no correction, or an impossible one.
        KeyError, TypeError, ValueError: it lacks a part, or holds another kind of value.
    """
    match data["kind"]:
        case "finish":
            return FinishChanged(_point(data["at_px"]), _finish(data["finish"]), _also(data))
        case "confirm":
            return Confirmed(_point(data["at_px"]), _also(data))
        case "leave_out":
            return LeftOut(_point(data["at_px"]), _also(data))
        case "paint_in":
            return PaintedIn(_path(data["path_px"]), _radius(data["radius_px"]), _finish(data["finish"]))
        case "paint_out":
            return PaintedOut(_path(data["path_px"]), _radius(data["radius_px"]))
        case "fill_in":
            return FilledIn(_path(data["corners_px"], 3), _finish(data["finish"]), _on_screen(data))
        case "fill_out":
            return FilledOut(_path(data["corners_px"], 3), _on_screen(data))
    raise _unreadable(f"'{data['kind']}' is not a kind of correction.")


def _point(data: Any) -> Point:
    x, y = (float(v) for v in data)
    if not (math.isfinite(x) and math.isfinite(y)) or max(abs(x), abs(y)) > _LARGEST_PX:
        raise _unreadable("A place is outside any photo.")
    return x, y


def _also(data: Mapping[str, Any]) -> tuple[Point, ...]:
    also = data.get("also_px", ())
    return _path(also) if len(also) else ()


def _path(data: Any, least: int = 1) -> tuple[Point, ...]:
    if not least <= len(data) <= MOST_POINTS:
        raise _unreadable(f"A correction has {len(data)} places; it needs {least} to {MOST_POINTS}.")
    return tuple(map(_point, data))


def _on_screen(data: Mapping[str, Any]) -> float:
    size = float(data.get("px_per_screen_px", 1.0))
    if not 0 < size <= _LARGEST_PX:
        raise _unreadable(f"{as_given(size)} px of a photo under one of a screen is not possible.")
    return size


def _radius(data: Any) -> float:
    radius = float(data)
    if not 0 < radius <= LARGEST_RADIUS_PX:
        raise _unreadable(f"A brush of {as_given(radius)} px is not possible.")
    return radius


def _finish(data: Any) -> Finish:
    for finish in FINISHES:
        if data == finish:
            return finish
    raise _unreadable(f"'{data}' is not a finish.")
