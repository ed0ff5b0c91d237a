"""From coverage to regions, rows and boards."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finishes import UNDETERMINED
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.model import Finish
from grader.regions.boards import boards_under, edge_distance, find_boards
from grader.regions.finish import EDGE_GAP_MM, finish_of_chance, finish_of_loose, finish_of_row, hard_chance
from grader.regions.model import Board, ContactRow, Region, Regions
from grader.regions.rows import PlatedPiece, chosen_row, find_rows

_MOST_REGIONS = 65_534
_AT_ONCE = 1 << 17  # pixels that are summed up at a time: their values stay in the cache
_REACH_PX = 2  # faint edge pixels this near a region belong to it


@dataclass(frozen=True, eq=False)
class _Pixels:
    """The pixels of all regions, a few in a hundred of a photo's.

    Attributes:
        xs, ys: int32 (n,), where they lie.
        number: uint16 (n,), label of the region of each.
        share: uint8 (n,).
    """

    xs: NDArray[np.int32]
    ys: NDArray[np.int32]
    number: NDArray[np.uint16]
    share: NDArray[np.uint8]

    @staticmethod
    def of(labels: NDArray[np.uint16], share: NDArray[np.uint8], around: tuple[slice, slice]) -> _Pixels:
        """Pixels of the labels; all of them lie within the rows and columns ``around``."""
        rows, columns = around
        labels, share = labels[around], share[around]
        at = np.flatnonzero(labels > 0)
        ys, xs = (n.astype(np.int32) for n in np.divmod(at, max(share.shape[1], 1)))
        return _Pixels(xs + np.int32(columns.start), ys + np.int32(rows.start), labels.take(at), share.take(at))

    def sums(self, count: int, of: Callable[[_Pixels], list[NDArray[np.float64]]]) -> NDArray[np.float64]:
        """Sums (k, count), over each of the regions 1 … count, of k values of each pixel; a part at a time."""
        parts = (slice(start, start + _AT_ONCE) for start in range(0, max(len(self.xs), 1), _AT_ONCE))
        some = (_Pixels(self.xs[at], self.ys[at], self.number[at], self.share[at]) for at in parts)
        each = (np.array([np.bincount(p.number, value, count + 1)[1:] for value in of(p)]) for p in some)
        return functools.reduce(np.add, each)


def outlines_of(coverage: Coverage, scale: Scale | None, rgb: NDArray[np.uint8] | None) -> tuple[Board, ...]:
    """Outlines of the boards of a photo.

    Args:
        coverage: of the photo.
        scale: for sizes in mm; None measures in px and judges by shape alone.
        rgb: the photo, uint8 (height, width, 3), for separating boards that touch; with None, only outlines count.
    """
    return find_boards(coverage.board, scale, coverage.share > 127, rgb)


@dataclass(frozen=True, eq=False)
class UnplacedPlating:
    """The regions and rows of a photo before its boards are known: their ``board`` is None.

    Attributes:
        regions: without boards.
        row_middles_px: float64 (n, 2), of each row.
    """

    regions: Regions
    row_middles_px: NDArray[np.float64]

    def on(self, boards: tuple[Board, ...]) -> Regions:
        """The same with the board that each region and row lies on."""
        found = self.regions
        centres = np.array([r.box_px for r in found.regions]).reshape(-1, 4, 2).mean(axis=1)
        of_regions, of_rows = (boards_under(at, boards) for at in (centres, self.row_middles_px))
        return Regions(
            found.labels,
            tuple(replace(region, board=board) for region, board in zip(found.regions, of_regions, strict=True)),
            tuple(replace(row, board=board) for row, board in zip(found.rows, of_rows, strict=True)),
            boards,
        )


def find_plating(coverage: Coverage, scale: Scale | None) -> UnplacedPlating:
    """Regions and rows of a photo, without boards; arguments as of ``outlines_of``."""
    labels, solid, count = _label(coverage.share, coverage.plated_box)
    pixels = _Pixels.of(labels, coverage.share, coverage.plated_box)
    measured = _pieces(pixels, count, scale)
    pieces, faint = measured[:solid], measured[solid:]
    gaps = _edge_gaps(pieces, coverage.board, scale)
    rows, members = find_rows(pieces, with_scale=scale is not None)
    described = tuple(
        _describe_row([pieces[i] for i in inside], pitch, [gaps[i] for i in inside] if gaps else [], scale)
        for inside, pitch in zip(members, rows, strict=True)
    )
    in_row = chosen_row(pieces, members)
    row_verdict = [finish_of_row(row, with_scale=scale is not None) for row in described]
    verdicts: list[Finish] = [
        row_verdict[row] if row is not None else finish_of_loose(pieces[i], gaps[i] if gaps else None, scale)
        for i, row in enumerate(in_row)
    ]
    # the shape of a faint patch says nothing: only the segmenter decides
    in_row += [None] * len(faint)
    verdicts += [UNDETERMINED] * len(faint)
    regions = []
    contact = _seen(coverage.contact, pixels, len(measured), in_row)
    for piece, row, verdict, seen in zip(measured, in_row, verdicts, contact, strict=True):
        finish, doubt = finish_of_chance(hard_chance(verdict, seen))
        regions.append(
            Region(
                number=piece.number,
                finish=finish,
                box_px=piece.box_px,
                length=piece.length,
                width=piece.width,
                board=None,
                row=row,
                doubt=doubt,
                faint=piece.number > solid,
            )
        )
    middles = [np.mean([pieces[i].centre_px for i in inside], axis=0) for inside in members]
    return UnplacedPlating(Regions(labels, tuple(regions), described, ()), np.array(middles).reshape(-1, 2))


@dataclass(frozen=True, eq=False)
class PieceRow:
    """Pieces in a row, for counting them.

    Attributes:
        boxes_px: float64 (n, 4, 2), in order along the row.
        at_edge: as in ``ContactRow``.
    """

    boxes_px: NDArray[np.float64]
    at_edge: bool | None


def rows_above(coverage: Coverage, share: int) -> tuple[PieceRow, ...]:
    """Rows of pieces plated above a share (0..255): contacts that run together at less separate at a higher share."""
    rows, columns = coverage.plated_box
    above = coverage.share[rows, columns] > share
    if not above.any():
        return ()
    labels, count = _connected(above, _MOST_REGIONS)
    pixels = _Pixels.of(labels, above * np.uint8(255), (slice(0, above.shape[0]), slice(0, above.shape[1])))
    pieces = _pieces(replace(pixels, xs=pixels.xs + columns.start, ys=pixels.ys + rows.start), count, None)
    gaps = _edge_gaps(pieces, coverage.board, None)
    _, found = find_rows(pieces, with_scale=False)
    return tuple(
        PieceRow(
            np.array([pieces[i].box_px for i in row]),
            _is_at_edge(
                [gaps[i] for i in row] if gaps else [], float(np.median([pieces[i].length for i in row])), None
            ),
        )
        for row in found
    )


def _label(share: NDArray[np.uint8], around: tuple[slice, slice]) -> tuple[NDArray[np.uint16], int, int]:
    """Labels, the number of solid ones, and the number of all.

    Pixels at least half covered make solid pieces, which grow into their faint edges. Faint pixels beyond them (pale
    pads, rims under parts) are part of the area too: they make separate patches, whose labels follow. If there are
    too many, patches are left out first, then the smallest pieces.
    """
    whole = np.zeros(share.shape, np.uint16)
    share = share[around]
    if not share.size:
        return whole, 0, 0
    labels, solid = _connected(share > 127, _MOST_REGIONS)
    faint = share > 0
    for _ in range(_REACH_PX):  # one pixel at a time, so that the nearest region gets each pixel
        grown = cv2.dilate(labels, np.ones((3, 3), np.uint8))
        np.copyto(labels, grown, where=(labels == 0) & faint)
    beyond = faint & (labels == 0)
    patches, more = _connected(beyond, _MOST_REGIONS - solid)
    np.copyto(labels, patches + np.uint16(solid), where=patches > 0)
    whole[around] = labels
    return whole, solid, solid + more


def _connected(mask: NDArray[np.bool_], most: int) -> tuple[NDArray[np.uint16], int]:
    """Labels of the connected parts of a mask, only the largest if there are more than ``most``; and their number."""
    count, found = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    count -= 1
    if count > most:
        order = np.argsort(-np.bincount(found.ravel())[1:], kind="stable")[:most] + 1
        renumber = np.zeros(count + 1, np.int32)
        renumber[order] = np.arange(1, len(order) + 1)
        found, count = renumber[found], len(order)
    return found.astype(np.uint16), count


def _pieces(pixels: _Pixels, n: int, scale: Scale | None) -> list[PlatedPiece]:
    """Each region measured by its moments: the rectangle with the same middle, variances and direction.

    Moments of the shares give sizes to well below a pixel, at any angle; a rectangle around the pixels would be about
    a pixel too large each way.
    """

    def first(p: _Pixels) -> list[NDArray[np.float64]]:
        weight = p.share / 255.0
        return [weight, weight * p.xs, weight * p.ys]

    def second(p: _Pixels) -> list[NDArray[np.float64]]:
        weight, (x, y) = p.share / 255.0, centre_px[p.number - 1].T
        dx, dy = p.xs - x, p.ys - y
        return [weight * dx * dx, weight * dx * dy, weight * dy * dy]

    mass, *moments = pixels.sums(n, first)
    centre_px = np.column_stack(moments) / mass[:, None]
    xx, xy, yy = pixels.sums(n, second) / mass
    # a pixel's own width is not part of the region's spread
    spread_px = np.stack([np.stack([xx, xy], -1), np.stack([xy, yy], -1)], -2) - np.eye(2) / 12
    to_unit = _local_axes(centre_px, scale)
    variance, axes = np.linalg.eigh(to_unit @ spread_px @ to_unit.transpose(0, 2, 1))
    pixel = np.abs(np.linalg.det(to_unit))
    # nothing is thinner than what a quarter of a pixel's variance would give
    sides = np.sqrt(12 * np.maximum(variance, pixel[:, None] / 48))
    centre = scale.plane.to_mm(centre_px) if scale else centre_px
    width, length = sides.T
    half = np.stack([axes[:, :, 1] * length[:, None], axes[:, :, 0] * width[:, None]], -1) / 2
    half_px = np.linalg.solve(to_unit, half)
    signs = np.array([[-1, 1, 1, -1], [-1, -1, 1, 1]])
    boxes = centre_px[:, None] + (half_px @ signs).transpose(0, 2, 1)
    fill = mass * pixel / (length * width)
    return [
        PlatedPiece(
            i + 1, centre_px[i], centre[i], boxes[i], float(length[i]), float(width[i]), axes[i, :, 1], float(fill[i])
        )
        for i in range(n)
    ]


def _local_axes(centre_px: NDArray[np.float64], scale: Scale | None) -> NDArray[np.float64]:
    """The map from small steps in px to steps in the unit of sizes, near each place, (n, 2, 2)."""
    if scale is None:
        return np.tile(np.eye(2), (len(centre_px), 1, 1))
    steps = [scale.plane.to_mm(centre_px + d) - scale.plane.to_mm(centre_px - d) for d in 0.5 * np.eye(2)]
    return np.stack(steps, -1)


def _edge_gaps(pieces: list[PlatedPiece], board: NDArray[np.bool_], scale: Scale | None) -> list[float]:
    """Distance of each piece's nearest side from its board's edge, in the piece's unit; empty without outlines."""
    centres = np.array([p.centre_px for p in pieces]).reshape(-1, 2)
    distance = edge_distance(board, centres) if pieces else None
    if distance is None:
        return []
    unit = np.sqrt(scale.plane.pixel_area_mm2(centres)) if scale else np.ones(len(pieces))
    return [float(gap) for gap in distance * unit - np.array([p.length for p in pieces]) / 2]


def _describe_row(
    inside: list[PlatedPiece], pitch: float | None, gaps: list[float], scale: Scale | None
) -> ContactRow:
    length = float(np.median([p.length for p in inside]))
    first, last = inside[0].centre_px, inside[-1].centre_px
    return ContactRow(
        count=len(inside),
        pitch=pitch,
        contact_length=length,
        contact_width=float(np.median([p.width for p in inside])),
        length_spread=float(np.median([abs(p.length - length) for p in inside])) / length,
        board=None,
        at_edge=_is_at_edge(gaps, length, scale),
        ends_px=((float(first[0]), float(first[1])), (float(last[0]), float(last[1]))),
    )


def _is_at_edge(gaps: list[float], length: float, scale: Scale | None) -> bool | None:
    """Whether a row's pieces lie at the edge of their board; None if outlines are not known."""
    return float(np.median(gaps)) < (EDGE_GAP_MM if scale else 0.5 * length) if gaps else None


def _seen(
    contact: NDArray[np.uint8] | None, pixels: _Pixels, count: int, in_row: list[int | None]
) -> list[float] | list[None]:
    """Chance of an edge contact that the segmenter saw in each piece, 0..1; a row has one finish and so one value."""
    if contact is None:
        return [None] * count
    mass, seen = pixels.sums(count, lambda p: [p.share.astype(np.float64), p.share * (contact[p.ys, p.xs] / 255.0)])
    groups = np.array([row if row is not None else -1 - i for i, row in enumerate(in_row)], int)
    _, own = np.unique(groups, return_inverse=True)
    return list((np.bincount(own, seen) / np.bincount(own, mass))[own])
