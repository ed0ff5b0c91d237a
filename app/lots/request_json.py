"""How a photo was measured, as JSON: so that a lot in progress outlives the browser and the program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from calibration.inputs import Distribution, Input
from calibration.target import PatchPlace, TargetDescription
from calibration.thickness import FINISHES, Finish, GoldProperties
from grader.pipeline import (
    Automatic,
    ByCoin,
    ByLength,
    ByPitch,
    ByRectangle,
    ByTarget,
    Request,
    ScaleChoice,
    WithoutScale,
)


def request_json(request: Request) -> dict[str, Any]:
    """The request as JSON values; a segmenter of one's own is left out."""
    return {
        "scale": _scale_json(request.scale),
        "board_thickness_mm": request.board_thickness_mm,
        "print_factor": request.print_factor.as_json() if request.print_factor is not None else None,
        "properties": None
        if request.properties is None
        else {f: [i.as_json() for i in p.inputs()] for f, p in request.properties.items()},
    }


def request_of(data: Mapping[str, Any]) -> Request:
    """The inverse of ``request_json``.

    Raises:
        KeyError, TypeError, ValueError: the values are not such a request's.
    """
    factor, properties = data["print_factor"], data["properties"]
    return Request(
        scale=_scale_of(data["scale"]),
        board_thickness_mm=data["board_thickness_mm"],
        print_factor=None if factor is None else Distribution.from_json(factor),
        properties=None if properties is None else {_finish(f): _gold(three) for f, three in properties.items()},
    )


def _scale_json(scale: ScaleChoice) -> dict[str, Any]:
    return {"kind": type(scale).__name__, **asdict(scale)}


def _scale_of(data: Mapping[str, Any]) -> ScaleChoice:
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


def _finish(word: str) -> Finish:
    for finish in FINISHES:
        if finish == word:
            return finish
    raise ValueError(f"no finish is called {word}")


def _gold(three: Any) -> GoldProperties:
    thickness, density, fraction = (Input.from_json(each) for each in three)
    return GoldProperties(thickness, density, fraction)
