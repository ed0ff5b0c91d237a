"""Pictures with exact truth: flat sheets and shapes of known area, seen by a camera of known pose and lens.

It follows rays by its own arithmetic and shares none with the code that measures.
A sheet lies in z = 0 of its own axes (x right, y down, z away from the camera).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.target import TargetDescription

Paint = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class View:
    """A camera over a sheet: pinhole with radial distortion.

    Attributes:
        width: of the picture, px.
        height: of the picture, px.
        focal_px: focal length; the optical axis meets the picture's middle.
        tilt_deg: angle of the optical axis off the sheet's normal.
        turn_deg: direction of that tilt.
        roll_deg: the camera's turn about its own axis.
        distance_mm: from the camera to ``look_at_mm``.
        look_at_mm: sheet point in the picture's middle.
        k1: radial distortion, cubic.
        k2: radial distortion, fifth power.
    """

    width: int
    height: int
    focal_px: float
    tilt_deg: float
    turn_deg: float
    roll_deg: float
    distance_mm: float
    look_at_mm: tuple[float, float]
    k1: float = 0.0
    k2: float = 0.0

    @property
    def rotation(self) -> FloatArray:
        """Sheet axes to camera axes, (3, 3)."""
        tilt, turn, roll = np.radians([self.tilt_deg, self.turn_deg, self.roll_deg])

        def about_z(angle: float) -> FloatArray:
            c, s = np.cos(angle), np.sin(angle)
            return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])

        c, s = np.cos(tilt), np.sin(tilt)
        about_x = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
        return np.asarray(about_z(roll) @ about_z(turn) @ about_x @ about_z(-turn))

    @property
    def translation(self) -> FloatArray:
        """Place of the sheet's origin in camera axes, (3,)."""
        return np.asarray(np.array([0, 0, self.distance_mm]) - self.rotation @ np.array([*self.look_at_mm, 0.0]))

    def project(self, xyz_mm: FloatArray) -> FloatArray:
        """Sheet points (n, 3) → px (n, 2)."""
        camera = np.asarray(xyz_mm, dtype=np.float64) @ self.rotation.T + self.translation
        x = camera[:, :2] / camera[:, 2:]
        r2 = np.sum(x**2, axis=1, keepdims=True)
        middle = np.array([(self.width - 1) / 2, (self.height - 1) / 2])
        return np.asarray(x * (1 + self.k1 * r2 + self.k2 * r2**2) * self.focal_px + middle)

    def intersect(self, xy_px: FloatArray, height_mm: float = 0.0) -> FloatArray:
        """Px (n, 2) → points (n, 2) in mm of the plane ``height_mm`` above the sheet."""
        middle = np.array([(self.width - 1) / 2, (self.height - 1) / 2])
        seen = (np.asarray(xy_px, dtype=np.float64) - middle) / self.focal_px
        x = seen
        for _ in range(15):  # fixed point: contracts for lenses as gentle as a phone's
            r2 = np.sum(x**2, axis=1, keepdims=True)
            x = seen / (1 + self.k1 * r2 + self.k2 * r2**2)
        origin = -self.rotation.T @ self.translation
        directions = np.column_stack([x, np.ones(len(x))]) @ self.rotation
        along = (-height_mm - origin[2]) / directions[:, 2]
        return np.asarray(origin[:2] + directions[:, :2] * along[:, None])


def coverage(
    view: View, inside: Callable[[FloatArray], NDArray[np.bool_]], height_mm: float, fine: int
) -> FloatArray:
    """Share of each pixel that a shape covers, (height, width), from ``fine`` × ``fine`` samples a pixel.

    Args:
        view: the camera.
        inside: whether points (n, 2) in mm of the plane belong to the shape.
        height_mm: of the plane above the sheet.
        fine: samples along each side of a pixel.
    """
    return _sampled(view, lambda px: inside(view.intersect(px, height_mm)).astype(np.float64), fine)


def picture(
    view: View,
    paint: Paint,
    *,
    bump: Callable[[FloatArray], FloatArray] | None = None,
    fine: int = 4,
    noise: float = 1.0,
    seed: int = 0,
) -> NDArray[np.uint8]:
    """A grey picture of a sheet, uint8 (height, width, 3).

    Args:
        view: the camera.
        paint: encoded brightness 0..1 (n,) of sheet points (n, 2) in mm.
        bump: height in mm (n,) by which the sheet stands up towards the camera at points (n, 2); None for a flat one.
        fine: samples along each side of a pixel.
        noise: standard deviation in grey levels.
        seed: of the noise.
    """

    def shade(px: FloatArray) -> FloatArray:
        mm = view.intersect(px)
        if bump is not None:
            origin = -view.rotation.T @ view.translation
            flat = mm
            for _ in range(8):
                # along the ray from the flat sheet towards the camera, up to the bump's height
                share = bump(mm)[:, None] / -origin[2]
                mm = flat + (origin[:2] - flat) * share
        return paint(mm)

    grey = 255 * _sampled(view, shade, fine)
    grey = grey + np.random.default_rng(seed).normal(0, noise, grey.shape)
    return np.repeat(np.clip(np.round(grey), 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)


def _sampled(view: View, shade: Paint, fine: int) -> FloatArray:
    """Mean of ``shade`` over each pixel (height, width): its middle, near a change ``fine`` × ``fine`` samples."""
    grid = np.stack(np.meshgrid(np.arange(view.width), np.arange(view.height)), axis=-1).astype(np.float64)
    level = shade(grid.reshape(-1, 2)).reshape(view.height, view.width)
    changes = np.zeros(level.shape, dtype=bool)
    for axis in (0, 1):
        for shift in (-1, 1):
            changes |= np.roll(level, shift, axis=axis) != level
    # a line may pass between the middles of two pixels only to end there: look one pixel further
    changes |= np.roll(changes, 1, 0) | np.roll(changes, -1, 0) | np.roll(changes, 1, 1) | np.roll(changes, -1, 1)
    offsets = (np.arange(fine) + 0.5) / fine - 0.5
    some = grid[changes]
    total = np.zeros(len(some))
    for dy in offsets:
        for dx in offsets:
            total += shade(some + np.array([dx, dy]))
    level[changes] = total / fine**2
    return level


def sheet_paint(target: TargetDescription, *, black: float = 0.12, white: float = 0.88, table: float = 0.45) -> Paint:
    """Brightness of a target's printed sheet: white paper with squares, markers and patches, on a grey table."""
    board = target.board()
    dictionary = board.getDictionary()
    cells = int(dictionary.markerSize) + 2
    columns, rows = target.squares_x, target.squares_y
    # each square of the board as cells × cells; black squares are black all over
    bits = np.zeros((rows, columns, cells, cells))
    is_white = np.zeros((rows, columns), dtype=bool)
    for number, corners in zip(np.ravel(board.getIds()), board.getObjPoints(), strict=True):
        column, row = (np.mean(corners[:, :2], axis=0) // target.square_mm).astype(int)
        is_white[row, column] = True
        bits[row, column] = np.asarray(dictionary.generateImageMarker(int(number), cells, 1)) > 127
    outline = target.outline_mm()

    def paint(mm: FloatArray) -> FloatArray:
        on_sheet = np.all((mm >= outline[0]) & (mm <= outline[2]), axis=1)
        level = np.where(on_sheet, white, table)
        for patch in target.grey_patches:
            low, _, high, _ = patch.corners_mm()
            level[np.all((mm >= low) & (mm < high), axis=1)] = black + (white - black) * patch.reflectance**0.45
        local = (mm - np.array(target.origin_mm)) / target.square_mm
        on_board = np.all((local >= 0) & (local < np.array([columns, rows])), axis=1)
        square = np.floor(local[on_board]).astype(int)
        rim = (1 - target.marker_mm / target.square_mm) / 2
        cell = np.floor((local[on_board] - square - rim) / (1 - 2 * rim) * cells).astype(int)
        in_marker = np.all((cell >= 0) & (cell < cells), axis=1)
        cell = np.clip(cell, 0, cells - 1)
        bright = is_white[square[:, 1], square[:, 0]] & (
            ~in_marker | (bits[square[:, 1], square[:, 0], cell[:, 1], cell[:, 0]] > 0)
        )
        level[on_board] = np.where(bright, white, black)
        return np.asarray(level)

    return paint
