"""Scale targets: sheets with a ChArUco board, grey patches and a known size, and our own printed ones."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.errors import DataFileError, UsageError
from calibration.reading import json_of

Paper = Literal["a4", "letter"]

_DESCRIBE = (
    "Give dictionary, squares_x, squares_y, square_mm and marker_mm; legacy_pattern, grey_patches, "
    "charuco_origin_in_sheet_mm and sheet_mm may follow."
)
_SQUARES_MAX = 60


@dataclass(frozen=True)
class PatchPlace:
    """A grey patch on the sheet: its reflectance (0..1) and its rectangle in sheet mm, x right, y down."""

    reflectance: float
    x0_mm: float
    y0_mm: float
    x1_mm: float
    y1_mm: float

    def corners_mm(self) -> FloatArray:
        """Corners (4, 2) going round."""
        return np.array(
            [[self.x0_mm, self.y0_mm], [self.x1_mm, self.y0_mm], [self.x1_mm, self.y1_mm], [self.x0_mm, self.y1_mm]]
        )


@dataclass(frozen=True)
class TargetDescription:
    """A printed sheet with a ChArUco board. Axes: x right, y down from the sheet's top-left corner, mm.

    Attributes:
        dictionary: OpenCV's name of the marker dictionary, such as "DICT_5X5_100".
        squares_x: squares in a row.
        squares_y: rows of squares.
        square_mm: side of a square, as printed.
        marker_mm: side of a marker's black square.
        legacy_pattern: True for boards with even rows drawn as OpenCV did before 4.6.
        origin_mm: the board's top-left corner on the sheet.
        sheet_mm: width and height of the sheet, or None if unknown.
        grey_patches: their places.
        first_id: number of the first marker; the others follow.
        name: names the print size that all photos of this sheet share; made from the geometry.
    """

    dictionary: str
    squares_x: int
    squares_y: int
    square_mm: float
    marker_mm: float
    legacy_pattern: bool = False
    origin_mm: tuple[float, float] = (0.0, 0.0)
    sheet_mm: tuple[float, float] | None = None
    grey_patches: tuple[PatchPlace, ...] = ()
    first_id: int = 0
    name: str = ""

    def __post_init__(self) -> None:
        _check(self)
        if not self.name:
            digest = hashlib.sha256(repr(self).encode()).hexdigest()[:8]
            object.__setattr__(self, "name", f"sheet-{digest}")

    @property
    def is_own(self) -> bool:
        """True for our own printed targets."""
        return self.name in {f"own-{paper}" for paper in get_args(Paper)}

    @property
    def marker_count(self) -> int:
        """Markers on the board: one in each white square."""
        return self.squares_x * self.squares_y // 2

    @property
    def corner_count(self) -> int:
        """Inner corners of the board."""
        return (self.squares_x - 1) * (self.squares_y - 1)

    @property
    def marker_numbers(self) -> NDArray[np.int32]:
        """Numbers of the board's markers in its dictionary, int32 (markers,)."""
        return np.arange(self.first_id, self.first_id + self.marker_count, dtype=np.int32)

    def marker_dictionary(self) -> Any:
        """OpenCV's dictionary that the board's markers are from."""
        return _dictionary(self.dictionary)

    def board(self, legacy: bool | None = None) -> Any:
        """OpenCV's ``CharucoBoard``; ``legacy`` overrides the sheet's own setting."""
        board = cv2.aruco.CharucoBoard(
            (self.squares_x, self.squares_y),
            float(self.square_mm),
            float(self.marker_mm),
            self.marker_dictionary(),
            self.marker_numbers,
        )
        board.setLegacyPattern(self.legacy_pattern if legacy is None else legacy)
        return board

    def corners_mm(self, ids: NDArray[np.int64]) -> FloatArray:
        """Sheet places (n, 2) of inner corners by number: row by row from the top left."""
        across = self.squares_x - 1
        steps = np.column_stack([ids % across + 1, ids // across + 1])
        return np.asarray(steps * self.square_mm + np.array(self.origin_mm))

    def outline_mm(self) -> FloatArray:
        """Corners (4, 2) of the sheet going round; if its size is unknown, of everything printed on it."""
        if self.sheet_mm is not None:
            low, high = np.zeros(2), np.array(self.sheet_mm)
        else:
            low = np.array(self.origin_mm)
            high = low + np.array([self.squares_x, self.squares_y]) * self.square_mm
            corners = [p.corners_mm() for p in self.grey_patches]
            low = np.minimum(low, np.min([c[0] for c in corners], axis=0)) if corners else low
            high = np.maximum(high, np.max([c[2] for c in corners], axis=0)) if corners else high
        return np.array([low, [high[0], low[1]], high, [low[0], high[1]]])


def _dictionary(name: str) -> Any:
    number = getattr(cv2.aruco, name, None) if name.startswith("DICT_") else None
    if not isinstance(number, int):
        known = ", ".join(sorted(n for n in dir(cv2.aruco) if n.startswith("DICT_")))
        raise DataFileError(
            "target-dictionary", f"'{name}' is not a known marker dictionary.", f"Use one of {known}."
        )
    return cv2.aruco.getPredefinedDictionary(number)


def _check(target: TargetDescription) -> None:
    """Raise a DataFileError if the description contradicts itself."""
    if not 2 <= min(target.squares_x, target.squares_y) <= max(target.squares_x, target.squares_y) <= _SQUARES_MAX:
        raise _invalid(
            f"{target.squares_x} × {target.squares_y} squares are not a target (2 to {_SQUARES_MAX} each way)."
        )
    if not (math.isfinite(target.square_mm) and target.square_mm > 0):
        raise _invalid(f"square_mm is {target.square_mm}; it must be above 0.")
    if not 0 < target.marker_mm < target.square_mm:
        raise _invalid(f"marker_mm is {target.marker_mm}; it must be above 0 and below square_mm.")
    have = len(_dictionary(target.dictionary).bytesList)
    if target.first_id < 0 or target.first_id + target.marker_count > have:
        raise _invalid(f"{target.dictionary} has {have} markers; the board needs {target.marker_count}.")
    if not all(map(math.isfinite, target.origin_mm)):
        raise _invalid("charuco_origin_in_sheet_mm must be two numbers.")
    if target.sheet_mm is not None and not all(math.isfinite(v) and v > 0 for v in target.sheet_mm):
        raise _invalid("sheet_mm must be two numbers above 0.")
    for p in target.grey_patches:
        sides = (p.x0_mm, p.y0_mm, p.x1_mm, p.y1_mm)
        if not (
            0 <= p.reflectance <= 1 and all(map(math.isfinite, sides)) and p.x0_mm < p.x1_mm and p.y0_mm < p.y1_mm
        ):
            raise _invalid("A grey patch needs a reflectance from 0 to 1 and x0_mm < x1_mm, y0_mm < y1_mm.")


def _invalid(message: str) -> DataFileError:
    return DataFileError("target-invalid", f"The target's description is wrong: {message}", _DESCRIBE)


def parse_target(text: str | bytes) -> TargetDescription:
    """Read a target's description from JSON.

    Raises:
        DataFileError: not JSON, or a field is missing, of the wrong kind, or contradicts another.
    """
    try:
        data = json_of(text)
    except ValueError as error:
        raise DataFileError("target-unreadable", "The target's description is not JSON.", _DESCRIBE) from error
    if not isinstance(data, Mapping):
        raise _invalid("it must be one JSON object.")
    name = data.get("dictionary")
    legacy = data.get("legacy_pattern", False)
    patches = data.get("grey_patches") or []
    if not isinstance(name, str):
        raise _invalid("dictionary must be a name such as DICT_5X5_100.")
    if not isinstance(legacy, bool):
        raise _invalid("legacy_pattern must be true or false.")
    if not isinstance(patches, list):
        raise _invalid("grey_patches must be a list.")
    return TargetDescription(
        dictionary=name,
        squares_x=_whole(data, "squares_x"),
        squares_y=_whole(data, "squares_y"),
        square_mm=_number(data, "square_mm"),
        marker_mm=_number(data, "marker_mm"),
        legacy_pattern=legacy,
        origin_mm=_pair(data, "charuco_origin_in_sheet_mm") or (0.0, 0.0),
        sheet_mm=_pair(data, "sheet_mm"),
        grey_patches=tuple(_patch(p) for p in patches),
    )


def _number(data: Mapping[str, Any], key: str) -> float:
    value = data.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _invalid(f"{key} is missing." if value is None else f"{key} must be a number, not {value!r}.")
    try:
        return float(value)
    except OverflowError as error:
        raise _invalid(f"{key} is out of range.") from error


def _whole(data: Mapping[str, Any], key: str) -> int:
    value = _number(data, key)
    if not value.is_integer():
        raise _invalid(f"{key} must be a whole number, not {value}.")
    return int(value)


def _pair(data: Mapping[str, Any], key: str) -> tuple[float, float] | None:
    value = data.get(key)
    if value is None:
        return None
    if not isinstance(value, list) or len(value) != 2:
        raise _invalid(f"{key} must be two numbers.")
    return _number({key: value[0]}, key), _number({key: value[1]}, key)


def _patch(data: Any) -> PatchPlace:
    if not isinstance(data, Mapping):
        raise _invalid("each grey patch must be an object.")
    return PatchPlace(*(_number(data, key) for key in ("reflectance", "x0_mm", "y0_mm", "x1_mm", "y1_mm")))


# --- our own sheets

PAPER_MM: Mapping[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
CHECK_BAR_MM = 100.0
# Disjoint numbers distinguish the papers; high ones of a dictionary with few false finds avoid those of other sheets.
OWN_DICTIONARY = "DICT_APRILTAG_36h11"
_FIRST_ID: Mapping[Paper, int] = {"a4": 400, "letter": 450}
_REFLECTANCES = (0.05, 0.10, 0.18, 0.32, 0.50, 0.75)


def own_target(paper: Paper) -> TargetDescription:
    """Our printed target: a block 180 × 128 mm of 7 × 5 squares of 20 mm, grey patches to the right, bar below.

    Raises:
        UsageError: the paper is not known.
    """
    if paper not in get_args(Paper):
        raise UsageError("paper-unknown", f"There is no target for paper '{paper}'.", "Use a4 or letter.")
    left, top, height = 154.0, 6.0, 100.0 / len(_REFLECTANCES)
    patches = tuple(
        PatchPlace(r, left, top + i * height, left + 20.0, top + (i + 1) * height)
        for i, r in enumerate(_REFLECTANCES)
    )
    return TargetDescription(
        dictionary=OWN_DICTIONARY,
        squares_x=7,
        squares_y=5,
        square_mm=20.0,
        marker_mm=15.0,
        origin_mm=(6.0, 6.0),
        sheet_mm=(180.0, 128.0),
        grey_patches=patches,
        first_id=_FIRST_ID[paper],
        name=f"own-{paper}",
    )
