"""The boards of a listing: their best looks, how many there may be, and plating and gold of all of them."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.board_count import BoardCount
from grader.gold import GoldEstimate, gold_mass
from grader.listing.assign import Group
from grader.listing.division import Division
from grader.listing.draws import NONE, Draws
from grader.listing.looks import Look
from grader.listing.model import BoardLook, Face, LotBoard
from grader.listing.seen import SeenPhoto, combined_id, is_part
from grader.measured import Measured
from grader.measured.figures import figures_of
from grader.measured.parts import MeasuredBoard, MeasuredScale
from grader.model import EMPTY, Finish, ProductModel
from grader.regions.count import outline_chances

_PART = 0.4  # worth of a look that the frame or another board cuts, relative to a whole one of its size
_BORROWED = 0.7  # the same for a look whose photo has no scale of its own
_RARELY = 0.01  # share of draws too small to show in a range of nine in ten, and that a record need not hold
_SOURCE = "how well looks match; chances measured on renders"


@dataclass(frozen=True, eq=False)
class LotFigures:
    """Plating and gold of all boards, and the records that the lot is estimated from: see ``Listing``."""

    record: Measured | None
    fronts: Measured | None
    fronts_with_backs: Measured | None
    backs: Measured | None
    area_mm2: ProductModel | None
    gold_mg: ProductModel | None


def boards_of(photos: Sequence[SeenPhoto], looks: Sequence[Look], division: Division) -> tuple[LotBoard, ...]:
    """Each board with its looks; the best look at each face stands for it."""
    return tuple(_board(photos, looks, group, division.sure) for group in division.groups)


def _board(
    photos: Sequence[SeenPhoto],
    looks: Sequence[Look],
    group: Group,
    sure: Sequence[float],
) -> LotBoard:
    faces: tuple[tuple[Face, tuple[int, ...]], ...] = (("front", group.fronts), ("back", group.backs))
    best = {face: _best(photos, looks, own) for face, own in faces if own}
    shown = tuple(
        BoardLook(looks[n], face, is_best=best[face] == n, number=n + 1, sure=sure[n])
        for face, own in faces
        for n in own
    )
    area: dict[Finish, ProductModel] = {}
    gold = EMPTY
    for each in shown:
        if each.is_best:
            for finish, model in _area(photos, each.look).items():
                area[finish] = area.get(finish, EMPTY) + model
            gold = gold + _gold(photos, each.look)
    return LotBoard(shown, area, gold, any(not is_part(looks[n]) for n in group.fronts))


def _best(photos: Sequence[SeenPhoto], looks: Sequence[Look], own: Iterable[int]) -> int:
    return max(own, key=lambda n: _worth(photos, looks, n))


def _worth(photos: Sequence[SeenPhoto], looks: Sequence[Look], n: int) -> tuple[bool, float, int]:
    look = looks[n]
    part = _PART if is_part(look) else 1.0
    scale = _BORROWED if photos[look.photo].is_lent else 1.0
    return photos[look.photo].has_scale, look.px_across * part * scale, -n


def _area(photos: Sequence[SeenPhoto], look: Look) -> Mapping[Finish, ProductModel]:
    areas = photos[look.photo].area_by_board
    return areas[look.board] if areas else {}


def _gold(photos: Sequence[SeenPhoto], look: Look) -> ProductModel:
    golds = photos[look.photo].gold_by_board
    return golds[look.board].total if golds else EMPTY


def count_of_boards(
    photos: Sequence[SeenPhoto], looks: Sequence[Look], division: Division, members: Sequence[int] | None = None
) -> BoardCount:
    """Possible numbers of boards: those of the draws, and those that share an outline with another in all photos.

    Args:
        photos: all photos.
        looks: looks at boards.
        division: division of the looks.
        members: places of the boards to count; all if left out. A board of a draw is the board of the division that
            most of its looks are at; looks that the division has at no board count with the first.
    """
    groups = range(len(division.groups)) if members is None else members
    home = {n: g for g, group in enumerate(division.groups) for n in group.looks}
    chances = [outline_chances(photo.boards) for photo in photos]
    more = [_several(chances[look.photo][look.board]) for look in looks]
    first = min(groups, default=0)
    total: dict[int, float] = {}
    for board in division.draws.board:
        of: dict[int, list[int]] = {}
        for look, number in enumerate(board.tolist()):
            if number != NONE:
                of.setdefault(number, []).append(look)
        own = [each for each in of.values() if _home(each, home, first) in groups]
        numbers = reduce(np.convolve, [_outlines([more[n] for n in each]) for each in own], np.ones(1))
        for n, chance in enumerate(numbers.tolist()):
            total[n + len(own)] = total.get(n + len(own), 0.0) + chance
    return BoardCount.of({n: p for n, p in total.items() if p > 0})


def _home(looks: Sequence[int], home: Mapping[int, int], first: int) -> int:
    votes = Counter(home[n] for n in looks if n in home)
    return min(votes, key=lambda g: (-votes[g], g)) if votes else first


def _several(chances: FloatArray) -> FloatArray:
    """Chances that the outline of one board hides no further board, one further board, and so on."""
    return np.asarray(chances[1:] / chances[1:].sum())


def _outlines(each: Sequence[FloatArray]) -> FloatArray:
    """The same for a board by all its outlines: further boards would have to hide in every one of them."""
    chances = np.prod(each, axis=0)
    return np.asarray(chances / chances.sum())


def lot_figures(
    photos: Sequence[SeenPhoto],
    looks: Sequence[Look],
    boards: Sequence[LotBoard],
    division: Division,
) -> LotFigures:
    """Plating and gold of all boards; boards without a look in a photo with scale are left out.

    In each draw only the best look at each face of each board counts. A look that may be at a board of its own, or at
    no board, enters the sums with that chance, together with the consequences for the other looks.

    Args:
        photos: all photos.
        looks: looks at boards.
        boards: each board once.
        division: division of the looks.
    """
    known = [n for n, b in enumerate(boards) if _has_scale(photos, b)]
    if not known:
        return LotFigures(None, None, None, None, None, None)
    listing_id = combined_id(photos)
    both = [n for n in known if {each.face for each in boards[n].best} == {"front", "back"}]
    single = [n for n in known if n not in both]
    of_backs = {n for k in both for n in division.groups[k].backs}
    of_fronts = {n for k in both for n in division.groups[k].fronts}
    others = set(range(len(looks))) - of_backs - of_fronts
    if not single:  # looks that may be at boards after all
        of_fronts, others = of_fronts | others, set()
    counted = _counted(photos, looks, division.draws)

    def made(key: str, members: Sequence[int], faces: tuple[Face, ...], own: Iterable[int]) -> Measured | None:
        if not members:
            return None
        area: dict[Finish, ProductModel] = {}
        for n in sorted(own):
            factors = _factors(counted[n], n, listing_id)
            if factors is not None:
                for finish, model in _area(photos, looks[n]).items():
                    area[finish] = area.get(finish, EMPTY) + model.times(factors)
        best = [next(each.look for each in boards[n].best if each.face in faces) for n in members]
        outlines = [photos[look.photo].record.boards[look.board] for look in best]
        gold = gold_mass(area, photos[0].request.properties)
        count = count_of_boards(photos, looks, division, members)
        whole = sum(area.values(), EMPTY)
        return _record(f"{key} of the listing", f"{listing_id}-{key}", area, whole, gold, outlines, count)

    record = made("all", known, ("front", "back"), range(len(looks)))
    assert record is not None and record.model is not None  # noqa: S101, PT018 - some boards are known
    return LotFigures(
        record,
        made("fronts", single, ("front", "back"), others),
        made("fronts with backs", both, ("front",), of_fronts),
        made("backs", both, ("back",), of_backs),
        sum(record.model.area_mm2.values(), EMPTY),
        record.model.gold_mg,
    )


def _counted(photos: Sequence[SeenPhoto], looks: Sequence[Look], draws: Draws) -> NDArray[np.bool_]:
    """Whether each look is the best at a face of a board in each draw, bool (looks, draws)."""
    worth = [_worth(photos, looks, n) for n in range(len(looks))]
    found = np.zeros(draws.board.T.shape, bool)
    for draw, (board, is_back) in enumerate(zip(draws.board.tolist(), draws.is_back.tolist(), strict=True)):
        best: dict[tuple[int, bool], int] = {}
        for n, number in enumerate(board):
            face = (number, is_back[n])
            if number != NONE and (face not in best or worth[n] > worth[best[face]]):
                best[face] = n
        found[list(best.values()), draw] = True
    return found


def _factors(counted: NDArray[np.bool_], look: int, listing_id: str) -> list[Input] | None:
    """Factors of a look's plating: empty where it nearly always counts; None where it hardly ever does."""
    if counted.mean() <= _RARELY:
        return None
    if counted.mean() >= 1 - _RARELY:
        return []
    name = f"look-{look + 1}"
    values = Distribution("sample", tuple(counted.astype(float).tolist()))
    title = "which photos show the same boards"
    return [Input("match", title, values, _SOURCE, of=(listing_id[:12], name), aligned_over=name)]


def _has_scale(photos: Sequence[SeenPhoto], board: LotBoard) -> bool:
    return any(photos[each.look.photo].has_scale for each in board.looks)


def _record(
    name: str,
    identity: str,
    area: Mapping[Finish, ProductModel],
    whole: ProductModel,
    gold: GoldEstimate,
    boards: Sequence[MeasuredBoard],
    count: BoardCount,
) -> Measured:
    return Measured(
        photo=name,
        sha256=hashlib.sha256(identity.encode()).hexdigest(),
        scale=MeasuredScale(method="length", known="listing"),
        boards=tuple(boards),
        board_count=count.rounded(),
        **figures_of(area, whole, gold, ()),
    )
