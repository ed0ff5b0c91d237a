"""A plan drawn over its photo, and single boards as small pictures."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray, RgbArray
from calibration.errors import RefusedError
from grader.cut.board import CutBoard
from grader.cut.choose import PlannedBoard
from grader.cut.plan import Cut, Piece, Plan
from grader.cut.sheets import drawn_mm, upright
from grader.photo import reduced
from grader.pipeline import Measurement

_CUT_RGB, _OUTLINE_RGB, _SHADE = (230, 40, 40), (240, 228, 66), 0.35
_NUMBER_RGB = (255, 255, 255)
_NUMBERED = (0.25, 0.5, 0.75)  # shares of a cut's length
_AROUND_MM = 2.0
MAX_SIDE_PX = 1600


def draw_cuts(picture: RgbArray, k: float, boards: Sequence[PlannedBoard | RefusedError]) -> RgbArray:
    """A photo with cuts in red, thrown pieces darkened, boards outlined and numbered; uint8 (h, w, 3).

    Args:
        picture: of the photo, uint8 (h, w, 3).
        k: its size ÷ the photo's.
        boards: all boards of the photo; those that were refused keep their number and are not drawn.
    """
    out = np.ascontiguousarray(picture).copy()
    for number, planned in enumerate(boards, 1):
        if isinstance(planned, RefusedError):
            continue
        board = planned.board
        outline = _scaled(board.plane.to_px(board.outline_mm), k)
        inside = np.zeros(out.shape[:2], np.uint8)
        cv2.fillPoly(inside, [outline], 1)

        def place(uv: FloatArray, board: CutBoard = board) -> NDArray[np.int32]:
            return _scaled(board.to_px(uv), k)

        _shade(out, planned.plan, place, inside > 0)
        cv2.polylines(out, [outline], isClosed=True, color=_OUTLINE_RGB, thickness=2, lineType=cv2.LINE_AA)
        for cut in planned.plan.cuts:
            cv2.polylines(out, [place(line_of(cut))], isClosed=False, color=_CUT_RGB, thickness=3)
        _number(out, planned.plan, place, 0.6)
        middle = outline.reshape(-1, 2).mean(axis=0).astype(int)
        at = (int(middle[0]) - 10, int(middle[1]) + 10)
        cv2.putText(out, str(number), at, cv2.FONT_HERSHEY_SIMPLEX, 1.0, _OUTLINE_RGB, 2, cv2.LINE_AA)
    return out


def cut_overlay_rgb(
    done: Measurement, boards: Sequence[PlannedBoard | RefusedError], max_side_px: int = MAX_SIDE_PX
) -> RgbArray:
    """The measured photo, reduced, with its boards' cuts drawn; uint8 (h, w, 3)."""
    return draw_cuts(*reduced(done.photo.rgb, max_side_px), boards)


def cut_overlay_png(done: Measurement, boards: Sequence[PlannedBoard | RefusedError]) -> bytes:
    """The same as PNG."""
    return png_of(cut_overlay_rgb(done, boards))


def board_picture(picture: RgbArray, k: float, board: CutBoard, plan: Plan | None, length_px: int = 360) -> RgbArray:
    """One board out of a picture of its photo, its cuts drawn; uint8 (h, w, 3), ``length_px`` on its longer side.

    It stands as in the photo, and as on the template: a board whose length runs down the photo is not laid across.
    """
    length, width = board.size_mm
    per_mm = length_px / (length + 2 * _AROUND_MM)
    wide, high = (size + 2 * _AROUND_MM for size in drawn_mm(board))
    shape = (max(1, round(high * per_mm)), max(1, round(wide * per_mm)))
    ys, xs = (np.mgrid[: shape[0], : shape[1]] + 0.5) / per_mm - _AROUND_MM
    us, vs = (ys, width - xs) if upright(board) else (xs, ys)
    px = (board.to_px(np.column_stack([us.ravel(), vs.ravel()])) + 0.5) * k - 0.5
    x, y = (part.reshape(shape).astype(np.float32) for part in px.T)
    out = np.ascontiguousarray(cv2.remap(picture, x, y, cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE))

    def place(uv: FloatArray) -> NDArray[np.int32]:
        drawn = np.column_stack([width - uv[:, 1], uv[:, 0]]) if upright(board) else uv
        return _scaled((drawn + _AROUND_MM) * per_mm - 0.5, 1.0)

    if plan is not None:
        _shade(out, plan, place, np.ones(shape, bool))
        for cut in plan.cuts:
            cv2.polylines(out, [place(line_of(cut))], isClosed=False, color=_CUT_RGB, thickness=2)
        _number(out, plan, place, 0.4)
    return np.asarray(out, np.uint8)


def png_of(picture: RgbArray) -> bytes:
    """A picture, uint8 (h, w, 3), as PNG."""
    ok, data = cv2.imencode(".png", np.ascontiguousarray(picture[..., ::-1]))
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)


def _shade(
    out: RgbArray, plan: Plan, place: Callable[[FloatArray], NDArray[np.int32]], inside: NDArray[np.bool_]
) -> None:
    """Darken the pieces that are thrown."""
    dark = np.zeros(out.shape[:2], np.uint8)
    for piece in plan.pieces:
        if not piece.kept:
            cv2.fillPoly(dark, [place(corners_of(piece))], 1)
    thrown = (dark > 0) & inside
    out[thrown] = (out[thrown] * _SHADE).astype(np.uint8)


def _number(out: RgbArray, plan: Plan, place: Callable[[FloatArray], NDArray[np.int32]], size: float) -> None:
    """Each cut's number in the list, on a disc near the cut's beginning."""
    for number, cut in enumerate(plan.cuts, 1):
        (at,) = place(number_at(cut, number)[None]).reshape(-1, 2)
        text = str(number)
        (width, height), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, 1)
        radius = round(max(width, height) / 2 + 6 * size)
        cv2.circle(out, at.tolist(), radius, _CUT_RGB, -1, cv2.LINE_AA)
        corner = (int(at[0] - width / 2), int(at[1] + height / 2))
        cv2.putText(out, text, corner, cv2.FONT_HERSHEY_SIMPLEX, size, _NUMBER_RGB, 1, cv2.LINE_AA)


def corners_of(piece: Piece) -> FloatArray:
    """Corners of a piece (4, 2) in the board's axes, mm."""
    u0, u1, v0, v1 = piece.u0_mm, piece.u1_mm, piece.v0_mm, piece.v1_mm
    return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])


def line_of(cut: Cut) -> FloatArray:
    """Ends of a cut (2, 2) in the board's axes, mm."""
    ends = np.array([[cut.at_mm, cut.from_mm], [cut.at_mm, cut.to_mm]])
    return ends if cut.axis == 0 else ends[:, ::-1]


def number_at(cut: Cut, number: int) -> FloatArray:
    """Where a cut's number stands (2,) in the board's axes, mm: on the cut, not beside its neighbours' numbers."""
    (u0, v0), (u1, v1) = line_of(cut)
    share = _NUMBERED[number % len(_NUMBERED)]
    return np.array([u0 + share * (u1 - u0), v0 + share * (v1 - v0)])


def _scaled(points: FloatArray, k: float) -> NDArray[np.int32]:
    return np.round((points + 0.5) * k - 0.5).astype(np.int32).reshape(-1, 1, 2)
