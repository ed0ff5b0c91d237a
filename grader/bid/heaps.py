"""The heaps a lot can be sorted into by eye, and the pieces cut off the boards of each.

Heaps are the parts of the lot and, within each part, boards rich and poor in plating. A part is divided only if
each outline is one board: its gold per area is compared with that of the part. The unphotographed boards are
assumed to be mixed like those in the photos, by mass and by gold.

Pieces are rows of contacts at edges: their mass is length × (contacts' depth + what is cut off beyond them) × mass of
bare board per area, because an edge with contacts carries no components. A row nearly as long as the board's side is
taken off with the whole side, by a straight cut; a piece longer than the vessel is cut once more. If the cuts of a
board were planned, the pieces and cuts of the plan replace these.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import zip_longest

from calibration.inputs import Input
from calibration.packaged import packaged_text
from calibration.sourced import parse, parse_inputs
from grader.bid.cuts import BoardCuts, PlansOfPhotos
from grader.cut.board import density_input
from grader.lot.model import LotEstimate, Part, PartEstimate
from grader.measured import EdgeRow, Measured, MeasuredBoard
from grader.model import EMPTY, ProductModel
from grader.valuation.portions import Portion


def portions_of(lot: LotEstimate, plans: PlansOfPhotos) -> tuple[Portion, ...]:
    """The heaps of a lot; together they are the lot.

    Args:
        lot: as estimated.
        plans: of cuts, for the photos that have them.
    """
    return tuple(p for part in lot.parts for p in _of_part(part, plans))


@dataclass(frozen=True)
class _Outline:
    """A board in a photo, and its cuts where they were planned."""

    board: MeasuredBoard
    plan: BoardCuts | None

    @property
    def is_known(self) -> bool:
        """Whether the pieces cut off it are known."""
        return self.plan is not None or self.board.edge_rows is not None


@dataclass(frozen=True)
class _Heap:
    """The photographed boards of one heap, and the share of the part's boards that they represent."""

    words: str
    outlines: Sequence[_Outline]
    of_boards: float
    of_gold: float
    of_mass: float


def _of_part(estimate: PartEstimate, plans: PlansOfPhotos) -> list[Portion]:
    found = []
    outlines = [o for s in estimate.part.sights for o in _outlines(s.front, plans)]
    for heap in _heaps(estimate, outlines):
        boards = _boards(estimate).times((), heap.of_boards)
        mass = None if estimate.mass_g is None else estimate.mass_g.times((), heap.of_mass)
        gold = estimate.gold_mg.times((), heap.of_gold)
        name = f"{estimate.part.name} {heap.words}".strip()
        found.append(_with_pieces(Portion(name, gold, mass, boards=boards), heap.outlines, estimate.part))
    return found


def _outlines(photo: Measured, plans: PlansOfPhotos) -> Iterator[_Outline]:
    found = plans.get(photo.sha256, ())
    for board, plan in zip_longest(photo.boards, found if len(found) == len(photo.boards) else ()):
        yield _Outline(board, plan)


def _heaps(estimate: PartEstimate, outlines: Sequence[_Outline]) -> list[_Heap]:
    one_to_one = all(len(s.front.boards) == s.boards and s.back is None for s in estimate.part.sights)
    area, gold = sum(o.board.size_mm2 for o in outlines), sum(o.board.gold_value_mg for o in outlines)
    whole = [_Heap("", outlines, 1.0, 1.0, 1.0)]
    if not one_to_one or gold <= 0 or estimate.mass_g is None:
        return whole
    limit = _figure("poor_below") * gold / area
    poor = [o for o in outlines if o.board.gold_value_mg / o.board.size_mm2 < limit]
    if not poor:
        return whole

    def heap(words: str, held: Sequence[_Outline]) -> _Heap:
        of_gold = sum(o.board.gold_value_mg for o in held) / gold
        of_mass = sum(o.board.size_mm2 for o in held) / area
        return _Heap(words, held, len(held) / len(outlines), of_gold, of_mass)

    rich = [o for o in outlines if o.board.gold_value_mg / o.board.size_mm2 >= limit]
    return [heap("with much plating", rich), heap("with little plating", poor)]


def _boards(estimate: PartEstimate) -> ProductModel:
    """Number of boards; for a lot by mass, in proportion to the mass."""
    part = estimate.part
    if part.mass_g is not None and estimate.mass_g is not None:
        middle = sum(t.coefficient for t in estimate.mass_g.terms) or 1.0
        usual = estimate.mass_g.times((), 1.0 / middle)
        return usual.times((), estimate.boards / _median(usual))
    if part.count is not None and not part.count.is_constant:
        return ProductModel.of(1.0, (Input("count", f"number of {part.name}", part.count, "given", of=(part.name,)),))
    return ProductModel.of(estimate.boards, ())


@dataclass(frozen=True)
class _CutOff:
    """The pieces cut off one board, with a share of its gold. A board without pieces goes in as it is."""

    pieces_g: ProductModel = EMPTY
    cuts: int = 0
    share: float = 0.0


def _with_pieces(portion: Portion, outlines: Sequence[_Outline], part: Part) -> Portion:
    """A heap with the pieces cut off its boards, if plans or measured rows give them."""
    if not outlines or not all(o.is_known for o in outlines) or portion.boards is None:
        nothing = not portion.gold_mg.terms or not any(o.board.gold_value_mg for o in outlines)
        return replace(portion, pieces_g=EMPTY, stripped_g=EMPTY, cuts=0.0) if nothing and outlines else portion
    stands_for = _standing_for(outlines, part)
    off = [_cut_off(o) for o in outlines]
    pieces = portion.boards.times((), 1.0 / stands_for).product(sum((c.pieces_g for c in off), EMPTY))
    gold_of = [o.board.gold_value_mg for o in outlines]
    gold = sum(gold_of)
    on_pieces = sum(c.share * g for c, g in zip(off, gold_of, strict=True))
    # boards with plating from which nothing is cut off go in as they are
    whole = [o.board for o, c in zip(outlines, off, strict=True) if not c.pieces_g.terms]
    uncut = sum(b.size_mm2 for b in whole if b.gold_value_mg > 0) / sum(o.board.size_mm2 for o in outlines)
    stripped: ProductModel | None = pieces
    if uncut:
        stripped = None if portion.mass_g is None else pieces + portion.mass_g.times((), uncut)
    lost = sum((1.0 - c.share) * g for c, g in zip(off, gold_of, strict=True) if c.pieces_g.terms)
    return replace(
        portion,
        pieces_g=pieces,
        gold_in_pieces=on_pieces / gold if gold > 0 else 0.0,
        gold_stripped=1.0 - lost / gold if gold > 0 else 1.0,
        stripped_g=stripped,
        cuts=sum(c.cuts for c in off) / stands_for,
    )


def _cut_off(outline: _Outline) -> _CutOff:
    plan, rows = outline.plan, outline.board.edge_rows or ()
    if plan is not None:
        return _CutOff(plan.kept_g, plan.cuts, plan.share_kept) if plan.cuts else _CutOff()
    if not rows:
        return _CutOff()
    density = density_input(None)
    lengths = [_length_mm(outline.board, r) for r in rows]
    at_contacts = sum(length * r.depth_mm for length, r in zip(lengths, rows, strict=True))
    mass = ProductModel.of(at_contacts, (density,)) + ProductModel.of(sum(lengths), (density, _beyond()))
    return _CutOff(mass, sum(1 + math.floor(length / _figure("longest_piece")) for length in lengths), 1.0)


def _standing_for(outlines: Sequence[_Outline], part: Part) -> float:
    """Number of boards behind these outlines: one each, or the counted number if boards touch."""
    every = sum(len(s.front.boards) for s in part.sights)
    return part.boards_seen * len(outlines) / every


def _length_mm(outline: MeasuredBoard, row: EdgeRow) -> float:
    """Length cut off along a row: the whole side of the board if the row fills most of it, otherwise the row."""
    if outline.slenderness is None:
        return row.length_mm
    long = math.sqrt(outline.size_mm2 * outline.slenderness)
    sides = [side for side in (outline.size_mm2 / long, long) if row.length_mm >= _figure("along_edge") * side]
    return max((*sides, row.length_mm))


def _median(model: ProductModel) -> float:
    draws = sorted(model.draws(2000))
    return float(draws[len(draws) // 2])


@cache
def _beyond() -> Input:
    return parse_inputs(packaged_text("grader.bid", "data/heap_inputs.toml"), "heap_inputs")["cut-beyond-contacts"]


@cache
def _figure(name: str) -> float:
    return parse(packaged_text("grader.bid", "data/heaps.toml"), "heaps")[name].value
