"""Corrections laid over what was found: new coverage and regions, nothing searched again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.inputs import Input
from calibration.notices import NoticeDefinition, Notices
from calibration.scale import Scale
from grader.correct.paint import Paint, edge_inputs, paint
from grader.corrections import Confirmed, Corrections, FinishChanged, LeftOut, Point
from grader.coverage import Coverage
from grader.model import FINISHES, Finish
from grader.regions import Board, ContactRow, Region, Regions
from grader.regions.boards import board_under

notice = Notices(
    NoticeDefinition(
        "correction-missed",
        "{count} of the corrections of regions fall where no plating was found; they changed nothing.",
        "Check that the corrections belong to this photo, or correct it again.",
    ),
    NoticeDefinition(
        "all-left-out",
        "Everything that was found was left out by hand: the figures say only that whoever "
        "corrected it saw no gold plating.",
        "If some of it may be plating after all, undo its correction.",
    ),
)

_MOST_LABELS = 65_535
_SEARCH_ONLY = frozenset({"no-gold-found"})  # what the search said, and painting in makes untrue

Labels = NDArray[np.uint16]
ShareMap = NDArray[np.uint8]


def apply_corrections(
    coverage: Coverage, regions: Regions, corrections: Corrections, scale: Scale | None = None, photo_id: str = ""
) -> tuple[Coverage, Regions]:
    """What was found, as corrected.

    Pixels painted in count as wholly plated, at the brush's edge by the share that it swept. They make regions of
    their own, with the finish that was painted; the error of the segmenter does not act on them, that of painted
    edges does (``grader.correct.paint``). What was painted out or left out is gone, and rows keep the count of
    contacts that remain. Faint patches count only while a region that was found and is not faint remains.

    The error of the segmenter is not made smaller: corrections tell what a person changed, not that the rest was
    looked at.

    Args:
        coverage: as found.
        regions: as found in it.
        corrections: in order.
        scale: of the photo, for the sizes of painted regions.
        photo_id: names the errors of painting, which are this photo's alone.
    """
    if not corrections:
        return coverage, regions
    fates, judged, missed = _fates(regions, corrections)
    share, labels = _without(coverage.share, regions.labels, fates), regions.labels
    described = [_with_fate(r, fates.get(r.number), judged) for r in regions.regions]
    laid = paint(corrections.strokes, share.shape)
    painted: list[Region] = []
    if laid is not None:
        found = share[laid.where].copy()
        labels = labels.copy()
        share[laid.where] = laid.over(found)
        painted = _label(laid, found, labels, len(described), regions.boards, scale)
    remain = np.bincount(labels[share > 127], minlength=len(described) + 1)[1 : len(described) + 1] > 0
    if not remain.any():
        share[labels <= len(described)] = 0
    rows, described = _remaining_rows(regions.rows, described, remain)
    inside: tuple[Input, ...] = ()
    across: tuple[Input, ...] = ()
    if laid is not None:
        rest_px = float(share.sum(dtype=np.int64)) / 255 - float(laid.points_in.sum()) / 16
        inside, across = edge_inputs(laid, corrections.strokes, found, rest_px, photo_id)
    notices = [n for n in coverage.notices if n.code not in _SEARCH_ONLY or not share.any()]
    if missed:
        notices.append(notice("correction-missed", count=missed))
    if coverage.share.any() and not share.any():
        notices.append(notice("all-left-out"))
    return (
        replace(
            coverage,
            share=share,
            area_inputs=(*coverage.area_inputs, *across),
            painted_inputs=inside,
            notices=tuple(notices),
        ),
        Regions(labels, (*described, *painted), rows, regions.boards),
    )


def region_at(regions: Regions, at_px: Point) -> Region | None:
    """The region that a place lies in."""
    x, y = round(at_px[0]), round(at_px[1])
    height, width = regions.labels.shape
    if not (0 <= x < width and 0 <= y < height):
        return None
    number = int(regions.labels[y, x])
    return regions.regions[number - 1] if number else None


def touched(regions: Regions, corrections: Corrections, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Where corrections say what is plated and what is not, bool (height, width).

    Args:
        regions: as found.
        corrections: of them.
        shape: of the photo, (height, width).
    """
    _, judged, _ = _fates(regions, corrections)
    there = np.isin(regions.labels, list(judged))
    laid = paint(corrections.strokes, shape)
    if laid is not None:
        there[laid.where] |= (laid.inside | laid.outside) > 0
    return there


def _fates(regions: Regions, corrections: Corrections) -> tuple[dict[int, Finish | None], set[int], int]:
    """What a person said of regions.

    Returns:
        The finish of each region that was given one, None if it is left out; numbers of all regions that a person
        judged; and how many corrections found no region.
    """
    fates: dict[int, Finish | None] = {}
    judged: set[int] = set()
    missed = 0
    for item in corrections.items:
        if isinstance(item, FinishChanged | Confirmed | LeftOut):
            met = [r for r in (region_at(regions, at) for at in (item.at_px, *item.also_px)) if r is not None]
            missed += not met
            judged |= {region.number for region in met}
            for region in met:
                if not isinstance(item, Confirmed):
                    fates[region.number] = item.finish if isinstance(item, FinishChanged) else None
                elif fates.get(region.number, region.finish) is None:
                    del fates[region.number]
    return fates, judged, missed


def _with_fate(region: Region, finish: Finish | None, judged: set[int]) -> Region:
    """The region with the finish that a person gave it, if one did: who has no doubt of it."""
    if region.number not in judged:
        return region
    return replace(region, judged=True) if finish is None else replace(region, finish=finish, doubt=0.0, judged=True)


def _without(share: ShareMap, labels: Labels, fates: Mapping[int, Finish | None]) -> ShareMap:
    """A copy without the regions that were left out."""
    out = [number for number, finish in fates.items() if finish is None]
    if not out:
        return share.copy()
    kept = np.full(int(labels.max()) + 1, 255, np.uint8)
    kept[out] = 0
    return np.asarray(share & kept[labels], np.uint8)


def _label(
    laid: Paint, found: ShareMap, labels: Labels, known: int, boards: tuple[Board, ...], scale: Scale | None
) -> list[Region]:
    """Regions of what was painted in: connected pieces of one finish. Their numbers are written into ``labels``.

    A pixel at the brush's edge that also shows plating that was found goes to the larger of the two.
    """
    window = labels[laid.where]
    points = laid.points_in
    untouched = found.astype(np.float32) * (16 - points - laid.points_out)
    own = (points > 0) & ((window == 0) | (255.0 * points >= untouched))
    regions: list[Region] = []
    corner = (laid.where[1].start, laid.where[0].start)
    for index, finish in enumerate(FINISHES):
        count, pieces, stats, _ = cv2.connectedComponentsWithStats((own & (laid.finish == index)).astype(np.uint8))
        for piece in range(1, count):
            x, y, w, h = (int(v) for v in stats[piece, :4])
            inside = pieces[y : y + h, x : x + w] == piece
            number = min(known + len(regions) + 1, _MOST_LABELS)
            window[y : y + h, x : x + w][inside] = number
            if number == known + len(regions) + 1:
                regions.append(_region(number, finish, inside, (corner[0] + x, corner[1] + y), boards, scale))
    return regions


def _region(
    number: int,
    finish: Finish,
    inside: NDArray[np.bool_],
    corner: tuple[int, int],
    boards: tuple[Board, ...],
    scale: Scale | None,
) -> Region:
    ys, xs = np.nonzero(inside)
    middle, sides, turn = cv2.minAreaRect(np.column_stack([xs, ys]).astype(np.float32))
    # the rectangle runs through the middles of the outermost pixels
    box = cv2.boxPoints((middle, (sides[0] + 1, sides[1] + 1), turn)).astype(np.float64) + corner
    corners = scale.plane.to_mm(box) if scale is not None else box
    width, length = sorted(float(np.hypot(*(corners[i + 1] - corners[i]))) for i in (0, 1))
    board = board_under(box.mean(axis=0), boards)
    return Region(number, finish, box, length, width, board, None, painted=True)


def _remaining_rows(
    rows: tuple[ContactRow, ...], regions: list[Region], remain: NDArray[np.bool_]
) -> tuple[tuple[ContactRow, ...], list[Region]]:
    """Rows with the contacts that remain, and regions that know their row; a row without any is not a row."""
    counts = [
        min(row.count, sum(r.row == i and bool(remain[r.number - 1]) for r in regions)) for i, row in enumerate(rows)
    ]
    kept = [i for i, count in enumerate(counts) if count > 0]
    renumbered = {old: new for new, old in enumerate(kept)}
    return (
        tuple(replace(rows[i], count=counts[i]) for i in kept),
        [_in_row(r, renumbered if remain[r.number - 1] else {}) for r in regions],
    )


def _in_row(region: Region, numbers: Mapping[int, int]) -> Region:
    return region if region.row is None else replace(region, row=numbers.get(region.row))
