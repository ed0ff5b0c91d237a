"""The back of a board laid under its front: mirrored, fitted by outline, its plating in the front's cells.

A back is the mirror image of its front, so it is laid on it by a reflection, a small turn and a shift (iterated
closest points on the outlines, Besl and McKay 1992, without scaling: both photos are in mm). An outline that fits in
more than one way, as any rectangle does, cannot tell which way the board was turned over: then the user has to say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import RefusedError
from grader.cut.board import GOLD_CELL, STEP_MM, CutBoard, CutFace

# in their places: like a page of a book (left and right change places), or over the top edge (top and bottom do)
Turned = Literal["sideways", "upwards"]

_FAR_MM = 2.0  # outlines of one board in two photos may differ by this, and by what the scales leave unsure
_WORST = 0.9  # share of an outline that has to be as near as that
_CLEARLY, _CLEARLY_MM = 2.5, 1.0  # another way to lie is ruled out if it is worse by this factor and this much
_SPACING_MM, _FINE_MM = 2.0, 0.5
_ROUNDS = 20
_SPLIT = 3  # a cell of the back is laid on the front in so many parts each way
_DIRECTION = {"left": (1.0, 0.0), "right": (-1.0, 0.0), "top": (0.0, 1.0), "bottom": (0.0, -1.0)}
_MIRRORED = (((-1, 0), (0, 1)), ((1, 0), (0, -1)), ((0, 1), (1, 0)), ((0, -1), (-1, 0)))


@dataclass(frozen=True, eq=False)
class _Laid:
    """A back laid on a front: places (n, 2) on it become ``places @ turn.T + shift`` on the front."""

    turn: FloatArray
    shift: FloatArray
    misfit_mm: float


def join_faces(
    fronts: Sequence[CutBoard | RefusedError], backs: Sequence[CutBoard | RefusedError], turned: Turned | None = None
) -> tuple[CutBoard | RefusedError, ...]:
    """The fronts with the plating of their backs; a front whose back is not found, or not distinguished, is refused.

    Args:
        fronts: the boards of a photo.
        backs: the boards of a photo of their other faces.
        turned: how each was turned over in its place; None to tell it from the outlines alone.
    """
    there = [b for b in backs if isinstance(b, CutBoard)]
    ways = [[] if isinstance(f, RefusedError) else [_ways(f, b, turned) for b in there] for f in fronts]
    pairs = _pairs(fronts, there, ways) if turned is not None else {}
    found: list[CutBoard | RefusedError] = []
    for i, front in enumerate(fronts):
        if isinstance(front, RefusedError):
            found.append(front)
            continue
        fitting = [j for j, laid in enumerate(ways[i]) if laid and _fits(front, there[j], laid[0])]
        if turned is not None:
            fitting = [pairs[i]] if i in pairs else []
        alike = len(fitting) == 1 and any(
            k != i and isinstance(f, CutBoard) and _fits_any(f, there[fitting[0]], ways[k][fitting[0]])
            for k, f in enumerate(fronts)
        )
        if not fitting:
            found.append(_no_fit(ways[i]))
        elif turned is None and (len(fitting) > 1 or alike or not _clear(front, there[fitting[0]], ways[i])):
            found.append(
                RefusedError(
                    "faces-ambiguous",
                    "The outline fits a back in more than one way, so where its gold lies is not known.",
                    "Turn each board over in its place, and say which way: sideways, or upwards.",
                )
            )
        else:
            found.append(_joined(front, there[fitting[0]], ways[i][fitting[0]][0]))
    return tuple(found)


def _ways(front: CutBoard, back: CutBoard, turned: Turned | None) -> list[_Laid]:
    """The ways in which a back may lie, the best first."""
    if turned is not None:
        across = np.diag([-1.0, 1.0] if turned == "sideways" else [1.0, -1.0])
        mirrored = [_directions(front) @ across @ _directions(back).T]
    else:
        mirrored = [np.array(m, np.float64) for m in _MIRRORED]
    tolerance = _tolerance(front, back)
    size = np.array(front.size_mm)
    fair = [m for m in mirrored if (np.abs(size - np.abs(m) @ np.array(back.size_mm)) < 3 * tolerance).all()]
    return sorted((_lay(front.outline_uv, back.outline_uv, m) for m in fair), key=lambda laid: laid.misfit_mm)


def _directions(board: CutBoard) -> FloatArray:
    """Its axes in its photo, to the nearest quarter turn; one a row, x right, y down."""
    return np.array([_DIRECTION[edge] for edge in board.edges])


def _tolerance(front: CutBoard, back: CutBoard) -> float:
    return _FAR_MM + 2 * math.hypot(front.uncertainty_mm, back.uncertainty_mm)


def _fits(front: CutBoard, back: CutBoard, laid: _Laid) -> bool:
    return laid.misfit_mm <= _tolerance(front, back)


def _fits_any(front: CutBoard, back: CutBoard, ways: Sequence[_Laid]) -> bool:
    return bool(ways) and _fits(front, back, ways[0])


def _clear(front: CutBoard, back: CutBoard, ways: Sequence[Sequence[_Laid]]) -> bool:
    """Whether one way to lie beats all others on the one back that fits."""
    own = next(laid for laid in ways if laid and _fits(front, back, laid[0]))
    best = own[0].misfit_mm
    return all(o.misfit_mm > max(_CLEARLY * best, best + _CLEARLY_MM) for o in own[1:])


def _pairs(
    fronts: Sequence[CutBoard | RefusedError], backs: Sequence[CutBoard], ways: Sequence[Sequence[Sequence[_Laid]]]
) -> dict[int, int]:
    """Fronts and backs that fit and lie in the same places of their photos, the nearest first."""
    boards = {i: f for i, f in enumerate(fronts) if isinstance(f, CutBoard)}
    if not boards or not backs:
        return {}
    at, there = _places(list(boards.values())), _places(backs)
    far = {
        (i, j): float(np.hypot(*(at[row] - there[j])))
        for row, (i, front) in enumerate(boards.items())
        for j, back in enumerate(backs)
        if _fits_any(front, back, ways[i][j])
    }
    pairs: dict[int, int] = {}
    for i, j in sorted(far, key=lambda pair: far[pair]):
        if i not in pairs and j not in pairs.values():
            pairs[i] = j
    return pairs


def _places(boards: Sequence[CutBoard]) -> FloatArray:
    """Where boards lie in their photo, about the middle of them all, mm along the photo's sides; (n, 2)."""
    middles = np.array([b.to_px(np.array([b.size_mm]) / 2)[0] for b in boards])
    px_per_mm = 1 / math.sqrt(float(np.mean(boards[0].plane.pixel_area_mm2(middles))))
    places = middles / px_per_mm
    return np.asarray(places - (places.min(axis=0) + places.max(axis=0)) / 2)


def _lay(front: FloatArray, back: FloatArray, mirrored: FloatArray) -> _Laid:
    """Lay one outline on the other."""
    fixed, moving = _spaced(front, _FINE_MM), _spaced(back, _SPACING_MM)
    turn = mirrored
    shift = _middle(front) - turn @ _middle(back)
    for _ in range(_ROUNDS):
        placed = moving @ turn.T + shift
        nearest, distance = _nearest(fixed, placed)
        near = distance <= np.quantile(distance, _WORST)
        a, b = moving[near], nearest[near]
        # the reflection that takes a to b with least squares (Kabsch 1976, with the determinant held at -1)
        u, _, vt = np.linalg.svd((a - a.mean(axis=0)).T @ (b - b.mean(axis=0)))
        sense = -np.sign(np.linalg.det(u @ vt))
        turn = (u @ np.diag([1.0, sense]) @ vt).T
        shift = b.mean(axis=0) - turn @ a.mean(axis=0)
    placed = moving @ turn.T + shift
    one = _nearest(fixed, placed)[1]
    other = _nearest(_spaced(back, _FINE_MM) @ turn.T + shift, _spaced(front, _SPACING_MM))[1]
    return _Laid(turn, shift, float(np.quantile(np.r_[one, other], _WORST)))


def _middle(outline: FloatArray) -> FloatArray:
    return np.asarray((outline.min(axis=0) + outline.max(axis=0)) / 2)


def _spaced(outline: FloatArray, spacing_mm: float) -> FloatArray:
    """Points along a closed outline, evenly apart."""
    closed = np.concatenate([outline, outline[:1]])
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    at = np.arange(0.0, along[-1], spacing_mm)
    return np.column_stack([np.interp(at, along, closed[:, axis]) for axis in (0, 1)])


def _nearest(fixed: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """For each point (n, 2) the nearest of the fixed ones, and its distance (n,)."""
    squares = ((points[:, None] - fixed[None]) ** 2).sum(axis=2)
    best = squares.argmin(axis=1)
    return fixed[best], np.sqrt(squares[np.arange(len(points)), best])


def _no_fit(ways: Sequence[Sequence[_Laid]]) -> RefusedError:
    misfits = [laid[0].misfit_mm for laid in ways if laid]
    nearest = f": the nearest is {min(misfits):.1f} mm off" if misfits else ""
    return RefusedError(
        "faces-do-not-fit",
        f"No back fits this board's outline{nearest}.",
        "Photograph the same boards from both sides, whole, a finger's width apart, each photo with its scale; or "
        "plan without their backs.",
    )


def _joined(front: CutBoard, back: CutBoard, laid: _Laid) -> CutBoard:
    shape = front.solid_mm2.shape
    contacts = _moved(back.faces[0].contact.astype(np.float64), laid, shape)
    face = replace(
        back.faces[0],
        plated_mm2={kind: _moved(cells, laid, shape) for kind, cells in back.faces[0].plated_mm2.items()},
        contact=contacts > GOLD_CELL,
    )
    faces: tuple[CutFace, ...] = (*front.faces, face)
    unsure = math.hypot(front.uncertainty_mm, back.uncertainty_mm, laid.misfit_mm / 2)
    return replace(front, faces=faces, uncertainty_mm=unsure)


def _moved(cells: FloatArray, laid: _Laid, shape: tuple[int, ...]) -> FloatArray:
    """What the back's cells hold, in the front's cells; nothing is lost."""
    rows, columns = np.nonzero(cells)
    parts = (np.arange(_SPLIT) + 0.5) / _SPLIT
    within = np.stack(np.meshgrid(parts, parts), axis=-1).reshape(-1, 2)
    places = (np.column_stack([rows, columns])[:, None] + within[None]).reshape(-1, 2) * STEP_MM
    at = np.floor((places @ laid.turn.T + laid.shift) / STEP_MM).astype(np.int64)
    inside = np.clip(at, 0, np.array(shape) - 1)
    held = np.repeat(cells[rows, columns] / len(within), len(within))
    flat = np.bincount(inside[:, 0] * shape[1] + inside[:, 1], held, shape[0] * shape[1])
    return np.asarray(flat, np.float64).reshape(shape)
