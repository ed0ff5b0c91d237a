"""Signs that decoded pixels come from damaged bytes rather than from an intact photo.

WebP, HEIC, TIFF without deflate, and to a degree JPEG carry no checksum: their decoders go on after damage and make
some picture. Four marks of damage are looked for, only in the green of some rows and columns, so that the check costs
a small share of decoding:

- blocks: steps one pixel wide, flat on both sides, that lie on the coder's grid of 8 px more often than off it, in
  rows and in columns. Lenses blur every edge over more than one pixel, and drawn edges do not follow the grid.
- noise: pixels that differ from both neighbours in a row and in a column, which never happens behind a lens.
- tears: one step from a row to the next, far greater over half the width than the steps beside it; and shifts: one
  step that makes a whole row brighter or darker.

Screenshots, borders in one colour and cut-out products have straight edges too: beside a tear, rows must have
texture. The limits, and how often they find damage or raise a false alarm, are in
``calibration/data/photo_figures.toml``.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.notices import Notice, NoticeDefinition, Notices
from calibration.sourced import load_figures

notice = Notices(
    NoticeDefinition(
        "photo-looks-damaged",
        "The picture shows {signs}, as damaged files do; do not trust what is measured there.",
        "Look at the picture; if it is damaged, copy the file again from the phone or camera and measure that one.",
    )
)

_CELLS = (12, 16)  # of the picture, down and across; a mark must show in a share of them
_LINES = 5  # looked at in each cell, across and along
_GRID_PX = 8
_STEP_LEAST, _STEP_OVER_SIDES = 24, 6
_SPIKE_LEAST = 96
_TEAR_CLIP, _SHIFT_CLIP = 32, 12  # no column counts for more than this, however strong an edge it crosses
_STEP_OF_NOISE = 1.0
_BESIDE, _CANDIDATES = 3, 4
_MARGIN_PX = 2

UInt8 = NDArray[np.uint8]
Float = NDArray[np.float32]


def damage_notices(rgb: UInt8) -> tuple[Notice, ...]:
    """A warning if the pixels look like decoded damage; otherwise empty.

    Args:
        rgb: uint8 (height, width, 3), as the decoder gave it.
    """
    figures, found = load_figures("photo_figures"), signs(rgb)
    words = {
        "blocks": "hard-edged blocks",
        "noise": "noise of no camera",
        "tear": "a tear across its width",
        "shift": "a step in brightness across its width",
    }
    seen = [words[name] for name, value in found.items() if value > figures[f"damage_{name}"].value]
    return (notice("photo-looks-damaged", signs=" and ".join(seen)),) if seen else ()


def signs(rgb: UInt8) -> dict[str, float]:
    """Strength of each mark: blocks and noise as shares of 0..1, tear and shift as ratios of 0 and more."""
    rows, columns = _lines(rgb)
    down, across = _CELLS
    blocks = np.minimum(_on_grid(rows, down, across), _on_grid(columns, across, down).T)
    noise = np.minimum(_spikes(rows, down, across), _spikes(columns, across, down).T)
    share = load_figures("photo_figures")["damage_cells"].value
    return {
        "blocks": _exceeded(blocks, share),
        "noise": _exceeded(noise, share),
        "tear": _tear(rgb, columns),
        "shift": _shift(rgb, columns),
    }


def _lines(rgb: UInt8) -> tuple[UInt8, UInt8]:
    """Green of some rows (n, width), and of some columns (m, height)."""
    height, width = rgb.shape[:2]
    down, across = (
        np.linspace(_MARGIN_PX, side - 1 - _MARGIN_PX, cells * _LINES).astype(int)
        for side, cells in zip((height, width), _CELLS, strict=True)
    )
    return np.ascontiguousarray(rgb[down, :, 1]), np.ascontiguousarray(rgb[:, across, 1].T)


def _on_grid(lines: UInt8, cells: int, along: int) -> Float:
    """Share of the grid's places with a hard step, less the share of other places; float32 (cells, along)."""
    steps = cv2.absdiff(lines[:, 1:], lines[:, :-1])
    middle, sides = steps[:, 1:-1], cv2.max(steps[:, :-2], steps[:, 2:])
    over = cv2.multiply(sides, (_STEP_OVER_SIDES, 0, 0, 0))
    hard = (middle >= _STEP_LEAST) & (over <= middle) & (over < 255)
    marks = _of_cells(hard, cells)
    shares = np.stack([_means(marks[:, phase::_GRID_PX], along) for phase in range(_GRID_PX)])
    # the grid begins at the first pixel, or at the last one where the decoder has turned the picture
    top = max((-2 % _GRID_PX, (lines.shape[1] - 2) % _GRID_PX), key=lambda phase: float(shares[phase].sum()))
    return np.asarray(shares[top] - (shares.sum(axis=0) - shares[top]) / (_GRID_PX - 1), np.float32)


def _spikes(lines: UInt8, cells: int, along: int) -> Float:
    """Share of pixels far above or far below both neighbours; float32 (cells, along)."""
    before, here, after = lines[:, :-2], lines[:, 1:-1], lines[:, 2:]
    above = cv2.subtract(here, cv2.max(before, after))
    below = cv2.subtract(cv2.min(before, after), here)
    far = np.asarray(cv2.max(above, below), np.uint8) >= _SPIKE_LEAST
    return _means(_of_cells(far, cells), along)


def _of_cells(marks: NDArray[np.bool_], cells: int) -> Float:
    """Share of marks in the lines of each cell, place by place; float32 (cells, length)."""
    sums = marks.view(np.uint8).reshape(cells, _LINES, -1).sum(axis=1, dtype=np.uint8)
    return np.asarray(sums.astype(np.float32) / _LINES, np.float32)


def _means(marks: Float, along: int) -> Float:
    return np.asarray(cv2.resize(marks, (along, len(marks)), interpolation=cv2.INTER_AREA), np.float32)


def _exceeded(values: Float, share: float) -> float:
    """The value that a given share of all cells reach."""
    ordered = np.sort(values, axis=None)
    return max(float(ordered[-max(round(share * ordered.size), 1)]), 0.0)


def _tear(rgb: UInt8, columns: UInt8) -> float:
    """Ratio of a step from one row to the next, over half the width or more, to the steps beside it."""
    middle = len(columns) // 2
    width = rgb.shape[1]
    halves = ((columns[:middle], slice(0, width // 2)), (columns[middle:], slice(width // 2, width)))
    return max(
        _peak(rgb[:, part], _mean(cv2.min(cv2.absdiff(half[:, 1:], half[:, :-1]), (_TEAR_CLIP, 0, 0, 0))))
        for half, part in halves
    )


def _shift(rgb: UInt8, columns: UInt8) -> float:
    """The same for a step that makes nearly all of a row brighter, or nearly all of it darker."""
    before, after = columns[:, :-1], columns[:, 1:]
    up, down = (
        _mean(cv2.min(cv2.subtract(one, other), (_SHIFT_CLIP, 0, 0, 0)))
        for one, other in ((after, before), (before, after))
    )
    return _peak(rgb, np.abs(up - down))


def _mean(steps: cv2.typing.MatLike) -> Float:
    """Mean over the columns; float32 (rows - 1,)."""
    return np.asarray(cv2.reduce(steps, 0, cv2.REDUCE_AVG, dtype=cv2.CV_32F)[0], np.float32)


def _peak(rgb: UInt8, steps: Float) -> float:
    """The greatest ratio of a step to the greatest step beside it, where the rows on both sides have texture."""
    padded = np.pad(steps, _BESIDE, mode="edge")
    beside = np.max([padded[i : i + len(steps)] for i in range(2 * _BESIDE + 1) if i != _BESIDE], axis=0)
    ratio = steps / (beside + _STEP_OF_NOISE)
    ratio[:_MARGIN_PX] = ratio[len(ratio) - _MARGIN_PX :] = 0
    least = load_figures("photo_figures")["tear_texture"].value
    best = np.argpartition(ratio, -_CANDIDATES)[-_CANDIDATES:]
    for row in best[np.argsort(-ratio[best])]:
        if min(float(np.std(rgb[r, :, 1])) for r in (row, row + 1)) >= least:
            return float(ratio[row])
    return 0.0
