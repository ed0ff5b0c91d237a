"""A plan drawn over its photo."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.cut.choose import PlannedBoard
from grader.cut.plan import Cut, Piece
from grader.measure import Measurement

FloatArray = NDArray[np.float64]

_CUT_RGB, _OUTLINE_RGB, _SHADE = (230, 40, 40), (240, 228, 66), 0.35
_MAX_SIDE_PX = 1600


def cut_overlay_rgb(
    done: Measurement, boards: Sequence[PlannedBoard], max_side_px: int = _MAX_SIDE_PX
) -> NDArray[np.uint8]:
    """The photo with cuts in red, thrown pieces darkened, boards outlined and numbered; uint8 (h, w, 3)."""
    rgb = done.photo.rgb
    k = min(1.0, max_side_px / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * k)), max(1, round(rgb.shape[0] * k)))
    out = np.ascontiguousarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))
    if done.scale is None:
        return out

    def px(planned: PlannedBoard, uv: FloatArray) -> NDArray[np.int32]:
        assert done.scale is not None  # noqa: S101 - told above
        return _scaled(done.scale.plane.to_px(planned.board.to_plane(uv)), k)

    for number, planned in enumerate(boards, 1):
        dark = np.zeros(out.shape[:2], np.uint8)
        for piece in planned.plan.pieces:
            if not piece.kept:
                cv2.fillPoly(dark, [px(planned, corners_of(piece))], 1)
        inside = np.zeros(out.shape[:2], np.uint8)
        outline = _scaled(done.scale.plane.to_px(planned.board.outline_mm), k)
        cv2.fillPoly(inside, [outline], 1)
        thrown = (dark & inside) > 0
        out[thrown] = (out[thrown] * _SHADE).astype(np.uint8)
        cv2.polylines(out, [outline], isClosed=True, color=_OUTLINE_RGB, thickness=2, lineType=cv2.LINE_AA)
        for cut in planned.plan.cuts:
            cv2.polylines(out, [px(planned, line_of(cut))], isClosed=False, color=_CUT_RGB, thickness=3)
        middle = outline.reshape(-1, 2).mean(axis=0).astype(int)
        place = (int(middle[0]) - 10, int(middle[1]) + 10)
        cv2.putText(out, str(number), place, cv2.FONT_HERSHEY_SIMPLEX, 1.0, _OUTLINE_RGB, 2, cv2.LINE_AA)
    return out


def cut_overlay_png(done: Measurement, boards: Sequence[PlannedBoard]) -> bytes:
    """The same as PNG."""
    ok, data = cv2.imencode(".png", np.ascontiguousarray(cut_overlay_rgb(done, boards)[..., ::-1]))
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)


def corners_of(piece: Piece) -> FloatArray:
    """Corners of a piece (4, 2) in the board's axes, mm."""
    u0, u1, v0, v1 = piece.u0_mm, piece.u1_mm, piece.v0_mm, piece.v1_mm
    return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])


def line_of(cut: Cut) -> FloatArray:
    """Ends of a cut (2, 2) in the board's axes, mm."""
    ends = np.array([[cut.at_mm, cut.from_mm], [cut.at_mm, cut.to_mm]])
    return ends if cut.axis == 0 else ends[:, ::-1]


def _scaled(points: FloatArray, k: float) -> NDArray[np.int32]:
    return np.round((points + 0.5) * k - 0.5).astype(np.int32).reshape(-1, 1, 2)
