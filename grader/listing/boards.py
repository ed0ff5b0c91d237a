"""The boards of a listing: their best looks, how many there may be, and plating and gold of all of them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from calibration.inputs import Distribution, FloatArray, Input
from grader.board_count import BoardCount
from grader.gold import GoldEstimate, gold_mass
from grader.listing.assign import Group, MatchDoubt
from grader.listing.looks import Look
from grader.listing.model import BoardLook, Face, LotBoard
from grader.measured import Measured
from grader.measured.figures import figures_of
from grader.measured.parts import MeasuredBoard, MeasuredScale
from grader.model import EMPTY, Finish, ProductModel
from grader.pipeline import Measurement
from grader.regions.count import outline_chances

_PART = 0.4  # of a look that the frame or another board cuts: what it is worth beside a whole one of its size
_BORROWED = 0.7  # of one whose photo has no scale of its own
_STEPS = 500  # in which chances of doubts are drawn
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


def boards_of(
    measured: Sequence[Measurement], looks: Sequence[Look], groups: Sequence[Group], lent: frozenset[int]
) -> tuple[LotBoard, ...]:
    """Each board with its looks; the best look at each face stands for it."""
    return tuple(_board(measured, looks, group, lent) for group in groups)


def _board(measured: Sequence[Measurement], looks: Sequence[Look], group: Group, lent: frozenset[int]) -> LotBoard:
    faces: tuple[tuple[Face, tuple[int, ...]], ...] = (("front", group.fronts), ("back", group.backs))
    best = {face: _best(measured, looks, own, lent) for face, own in faces if own}
    shown = tuple(
        BoardLook(looks[n], face, is_best=best[face] == n, number=n + 1) for face, own in faces for n in own
    )
    area: dict[Finish, ProductModel] = {}
    gold = EMPTY
    for each in shown:
        if each.is_best:
            for finish, model in _area(measured, each.look).items():
                area[finish] = area.get(finish, EMPTY) + model
            gold = gold + _gold(measured, each.look)
    return LotBoard(shown, area, gold, any(not _is_part(looks[n]) for n in group.fronts))


def _best(measured: Sequence[Measurement], looks: Sequence[Look], own: Iterable[int], lent: frozenset[int]) -> int:
    def worth(n: int) -> tuple[bool, float, int]:
        look = looks[n]
        part = _PART if _is_part(look) else 1.0
        scale = _BORROWED if look.photo in lent else 1.0
        return measured[look.photo].scale is not None, look.px_across * part * scale, -n

    return max(own, key=worth)


def _is_part(look: Look) -> bool:
    return look.is_cut or look.is_hidden


def _area(measured: Sequence[Measurement], look: Look) -> Mapping[Finish, ProductModel]:
    area = measured[look.photo].area
    return {} if area is None else area.by_board[look.board]


def _gold(measured: Sequence[Measurement], look: Look) -> ProductModel:
    m = measured[look.photo]
    return m.gold_by_board[look.board].total if m.gold_by_board else EMPTY


def count_of(
    measured: Sequence[Measurement],
    boards: Sequence[LotBoard],
    doubts: Sequence[MatchDoubt],
    members: Sequence[int] | None = None,
) -> BoardCount:
    """How many boards there may be.

    Each outline stands for one board, more or none, as in one photo; an outline that several photos show is none
    never. Each doubt about a match adds a board, or takes one away.

    Args:
        measured: the photos.
        boards: each once.
        doubts: about matches.
        members: places of the boards to count; all if left out.
    """
    chosen = range(len(boards)) if members is None else members
    if not chosen:
        return BoardCount.exactly(1)
    each = [_outline(measured, boards[n]) for n in chosen]
    down, up = _doubt_chances(doubts, frozenset(chosen))
    each += [np.array([1 - p, p]) for p in up]
    total = reduce(np.convolve, each)
    for p in down:
        # one fewer with this chance: the same as one more or none, counted from one lower
        total = np.convolve(total, np.array([p, 1 - p]))
    low = -len(down)
    return BoardCount.of({n + low: float(p) for n, p in enumerate(total) if p > 0})


def _doubt_chances(doubts: Sequence[MatchDoubt], chosen: frozenset[int]) -> tuple[list[float], list[float]]:
    """Chances that boards are one board fewer, and one more; each board is doubted at most once either way."""
    down: dict[int, float] = {}
    up: dict[int, float] = {}
    for d in doubts:
        if d.first not in chosen:
            continue
        if d.second is not None:
            down.setdefault(d.second, d.chance)
        else:
            up.setdefault(d.first, d.chance)
    return list(down.values()), list(up.values())


def _outline(measured: Sequence[Measurement], board: LotBoard) -> FloatArray:
    best = next(each for each in board.looks if each.is_best)
    chances = np.array(outline_chances(measured[best.look.photo].regions.boards[best.look.board]))
    if len({each.look.photo for each in board.looks}) > 1:
        chances[0] = 0.0
    return np.asarray(chances / chances.sum())


def lot_figures(
    measured: Sequence[Measurement],
    looks: Sequence[Look],
    boards: Sequence[LotBoard],
    doubts: Sequence[MatchDoubt],
    listing_id: str,
) -> LotFigures:
    """Plating and gold of all boards; boards without a look in a photo with scale are left out.

    Args:
        measured: the photos.
        looks: at boards.
        boards: each once.
        doubts: about matches: a board that may be another's stands in the sums with the chance that it is not.
        listing_id: names the inputs that are this listing's alone.
    """
    known = [n for n, b in enumerate(boards) if b.area_mm2 or _has_scale(measured, b)]
    if not known:
        return LotFigures(None, None, None, None, None, None)
    once = _counted_once(doubts, listing_id)
    records = {n: Measured.of(measured[n]) for n in sorted({e.look.photo for k in known for e in boards[k].best})}
    both = [n for n in known if {each.face for each in boards[n].best} == {"front", "back"}]
    single = [n for n in known if n not in both]
    extra_area, extra_gold = _parted(measured, looks, doubts, listing_id)

    def made(key: str, members: Sequence[int], faces: tuple[Face, ...]) -> Measured | None:
        if not members:
            return None
        area: dict[Finish, ProductModel] = {}
        outlines = []
        for n in members:
            factors = [once[n]] if n in once else []
            shown = [each for each in boards[n].best if each.face in faces]
            for each in shown:
                for finish, model in _area(measured, each.look).items():
                    area[finish] = area.get(finish, EMPTY) + model.times(factors)
            outlines.append(records[shown[0].look.photo].boards[shown[0].look.board])
        gold = gold_mass(area, measured[0].request.properties)
        whole = sum(area.values(), EMPTY)
        if key == "all":
            whole, gold = whole + extra_area, GoldEstimate(gold.by_finish, gold.total + extra_gold)
        count = count_of(measured, boards, doubts, members)
        return _record(f"{key} of the listing", f"{listing_id}-{key}", area, whole, gold, outlines, count)

    record = made("all", known, ("front", "back"))
    assert record is not None and record.model is not None  # noqa: S101, PT018 - some boards are known
    area_mm2 = sum((m for n in known for m in _all_area(measured, boards[n], once.get(n))), extra_area)
    return LotFigures(
        record,
        made("fronts", single, ("front", "back")),
        made("fronts with backs", both, ("front",)),
        made("backs", both, ("back",)),
        area_mm2,
        record.model.gold_mg,
    )


def _all_area(measured: Sequence[Measurement], board: LotBoard, once: Input | None) -> list[ProductModel]:
    factors = [] if once is None else [once]
    return [model.times(factors) for each in board.best for model in _area(measured, each.look).values()]


def _has_scale(measured: Sequence[Measurement], board: LotBoard) -> bool:
    return any(measured[each.look.photo].scale is not None for each in board.looks)


def _counted_once(doubts: Sequence[MatchDoubt], listing_id: str) -> dict[int, Input]:
    """For each board that may be one of the others: 1 where it is not, otherwise 0."""
    found: dict[int, Input] = {}
    for d in doubts:
        if d.second is not None and not d.is_back and d.second not in found:
            found[d.second] = _yes(1 - d.chance, f"{d.first + 1}-{d.second + 1}", listing_id)
    return found


def _parted(
    measured: Sequence[Measurement], looks: Sequence[Look], doubts: Sequence[MatchDoubt], listing_id: str
) -> tuple[ProductModel, ProductModel]:
    """Plating and gold of looks that may be at boards of their own, with the chance that they are."""
    area, gold = EMPTY, EMPTY
    seen: set[int] = set()
    for d in doubts:
        if d.second is not None or d.is_back or d.first in seen:
            continue
        seen.add(d.first)
        for n in d.parted:
            is_own = _yes(d.chance, f"look-{n + 1}", listing_id)
            for model in _area(measured, looks[n]).values():
                area = area + model.times([is_own])
            gold = gold + _gold(measured, looks[n]).times([is_own])
    return area, gold


def _yes(chance: float, name: str, listing_id: str) -> Input:
    """1 with this chance, otherwise 0."""
    ones = round(_STEPS * chance)
    return Input(
        "match",
        "which photos show the same boards",
        Distribution("sample", (0.0,) * (_STEPS - ones) + (1.0,) * ones),
        _SOURCE,
        of=(listing_id[:12], name),
    )


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
