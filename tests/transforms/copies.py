"""Copies of a photo that show the same boards: turned, mirrored, shrunk, packed tighter, brighter, cut, framed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane, Scale
from grader.photo import Photo
from grader.scale_choice import ByCoin, ByLength, ByRectangle, ScaleChoice

Picture = NDArray[np.uint8]

_CROP = (0.02, 0.03, 0.015, 0.01)  # of the height or width, off the top, right, bottom and left
_BORDER = 0.03  # of the longer side, all round
_BORDER_CODE = 235
_SHRINK = 0.9
_JPEG = 85


@dataclass(frozen=True)
class Copy:
    """One way to copy a photo.

    Attributes:
        name: of the way.
        picture: the photo's picture (height, width, …) → the copy's.
        points: the photo's points (n, 2) in px, and its height and width → where they lie in the copy.
        factor: the copy's px ÷ the photo's.
        is_mirrored: whether left and right are changed about; a printed target is then found no more.
    """

    name: str
    picture: Callable[[Picture], Picture]
    points: Callable[[FloatArray, int, int], FloatArray]
    factor: float = 1.0
    is_mirrored: bool = False

    def photo(self, photo: Photo) -> Photo:
        """The copy of a photo; its figures keep the photo's names, so that only what is seen can differ."""
        rgb = np.ascontiguousarray(self.picture(photo.rgb))
        focal = None if photo.focal_px is None else photo.focal_px * self.factor
        return replace(photo, rgb=rgb, focal_px=focal)

    def choice(self, choice: ScaleChoice, photo: Photo) -> ScaleChoice:
        """What gives the scale, with its marks where the copy has them."""

        def moved(*marks: tuple[float, float]) -> list[tuple[float, float]]:
            there = self.points(np.array(marks, np.float64), photo.height_px, photo.width_px)
            return [(float(x), float(y)) for x, y in there]

        match choice:
            case ByLength():
                start, end = moved(choice.start_px, choice.end_px)
                return replace(choice, start_px=start, end_px=end)
            case ByRectangle():
                a, b, c, d = moved(*choice.corners_px)
                return replace(choice, corners_px=(a, b, c, d))
            case ByCoin():
                return replace(choice, rim_px=tuple(moved(*choice.rim_px)))
        return choice


@dataclass(frozen=True, eq=False)
class MirroredPlane:
    """A plane as a copy sees it in which left and right are changed about; so are the plane's own axes.

    Attributes:
        photo_plane: of the photo itself.
        width_px: of both.
    """

    photo_plane: FacePlane
    width_px: int

    def to_mm(self, xy_px: FloatArray) -> FloatArray:
        """Points (n, 2) in px of the copy → plane points (n, 2) in mm."""
        return np.asarray(self.photo_plane.to_mm(self._over(xy_px)) * [-1.0, 1.0])

    def to_px(self, xy_mm: FloatArray) -> FloatArray:
        """The inverse of ``to_mm``."""
        return self._over(self.photo_plane.to_px(np.asarray(xy_mm, np.float64) * [-1.0, 1.0]))

    def pixel_area_mm2(self, xy_px: FloatArray) -> FloatArray:
        """Area in mm² of one pixel at each point (n,)."""
        return self.photo_plane.pixel_area_mm2(self._over(xy_px))

    def _over(self, xy_px: FloatArray) -> FloatArray:
        x, y = np.asarray(xy_px, np.float64).reshape(-1, 2).T
        return np.column_stack([self.width_px - 1 - x, y])


def mirrored(scale: Scale, photo: Photo) -> Scale:
    """The scale of a photo as its mirrored copy has it, for photos whose target cannot be read in a mirror."""
    outlines = tuple(outline * [-1.0, 1.0] + [photo.width_px - 1.0, 0.0] for outline in scale.target_px)
    return replace(scale, plane=MirroredPlane(scale.plane, photo.width_px), target_px=outlines)


def _turned(quarters: int) -> Callable[[FloatArray, int, int], FloatArray]:
    def points(xy: FloatArray, height: int, width: int) -> FloatArray:
        for _ in range(quarters):
            xy, height, width = np.column_stack([xy[:, 1], width - 1 - xy[:, 0]]), width, height
        return xy

    return points


def _still(xy: FloatArray, height: int, width: int) -> FloatArray:
    del height, width
    return xy


def _shrunk(picture: Picture) -> Picture:
    height, width = picture.shape[:2]
    size = round(width * _SHRINK), round(height * _SHRINK)
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)


def _packed(picture: Picture) -> Picture:
    _, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _JPEG])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1], np.uint8)


def _brighter(factor: float) -> Callable[[Picture], Picture]:
    return lambda picture: np.clip(np.round(picture * factor), 0, 255).astype(np.uint8)


def _cut_px(height: int, width: int) -> tuple[int, int, int, int]:
    """Rows off the top, columns off the right, rows off the bottom, columns off the left."""
    top, right, bottom, left = (
        round(share * n) for share, n in zip(_CROP, (height, width, height, width), strict=True)
    )
    return top, right, bottom, left


def _cut(picture: Picture) -> Picture:
    height, width = picture.shape[:2]
    top, right, bottom, left = _cut_px(height, width)
    return picture[top : height - bottom, left : width - right]


def _cut_points(xy: FloatArray, height: int, width: int) -> FloatArray:
    top, _, _, left = _cut_px(height, width)
    return xy - [left, top]


def _border_px(height: int, width: int) -> int:
    return round(_BORDER * max(height, width))


def _framed(picture: Picture) -> Picture:
    n = _border_px(*picture.shape[:2])
    return np.asarray(
        cv2.copyMakeBorder(picture, n, n, n, n, cv2.BORDER_CONSTANT, value=(_BORDER_CODE,) * 3), np.uint8
    )


COPIES: tuple[Copy, ...] = (
    Copy("as it is", lambda picture: picture, _still),
    Copy("turned 90", lambda picture: np.rot90(picture, 1), _turned(1)),
    Copy("turned 180", lambda picture: np.rot90(picture, 2), _turned(2)),
    Copy("turned 270", lambda picture: np.rot90(picture, 3), _turned(3)),
    Copy(
        "mirrored",
        lambda picture: picture[:, ::-1],
        lambda xy, height, width: np.column_stack([width - 1 - xy[:, 0], xy[:, 1]]),
        is_mirrored=True,
    ),
    Copy("shrunk 0.9", _shrunk, lambda xy, height, width: (xy + 0.5) * _SHRINK - 0.5, _SHRINK),
    Copy("JPEG 85", _packed, _still),
    Copy("brighter", _brighter(1.1), _still),
    Copy("darker", _brighter(0.9), _still),
    Copy("cropped", _cut, _cut_points),
    Copy("framed", _framed, lambda xy, height, width: xy + _border_px(height, width)),
)
