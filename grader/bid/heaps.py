"""The heaps a lot can be sorted into by eye, and the pieces cut off the boards of each.

Heaps are the parts of the lot and, within each part, boards rich and poor in plating. A part is divided only if
each outline is one board: its gold per area is compared with that of the part. The unphotographed boards are
assumed to be mixed like those in the photos, by mass and by gold.

Pieces are rows of contacts at edges: their mass is length × (contacts' depth + what is cut off beyond them) × mass of
bare board per area, because an edge with contacts carries no components. A row nearly as long as the board's side is
taken off with the whole side, by a straight cut; a piece longer than the vessel is cut once more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

from calibration.inputs import Input
from calibration.reading import packaged_text
from calibration.sourced import parse, parse_inputs
from grader.cut.board import density_input
from grader.lot.model import LotEstimate, Part, PartEstimate
from grader.measured import EdgeRow, MeasuredBoard
from grader.model import EMPTY, ProductModel
from grader.valuation.portions import Portion


def portions_of(lot: LotEstimate) -> tuple[Portion, ...]:
    """The heaps of a lot; together they are the lot."""
    return tuple(p for part in lot.parts for p in _of_part(part))


@dataclass(frozen=True)
class _Heap:
    """The photographed boards of one heap, and the share of the part's boards that they represent."""

    words: str
    outlines: Sequence[MeasuredBoard]
    of_boards: float
    of_gold: float
    of_mass: float


def _of_part(estimate: PartEstimate) -> list[Portion]:
    found = []
    for heap in _heaps(estimate):
        boards = _boards(estimate).times((), heap.of_boards)
        mass = None if estimate.mass_g is None else estimate.mass_g.times((), heap.of_mass)
        gold = estimate.gold_mg.times((), heap.of_gold)
        name = f"{estimate.part.name} {heap.words}".strip()
        found.append(_with_pieces(Portion(name, gold, mass, boards=boards), heap.outlines, estimate.part))
    return found


def _heaps(estimate: PartEstimate) -> list[_Heap]:
    outlines = [o for s in estimate.part.sights for o in s.front.boards]
    one_to_one = all(len(s.front.boards) == s.boards and s.back is None for s in estimate.part.sights)
    area, gold = sum(o.size_mm2 for o in outlines), sum(o.gold_value_mg for o in outlines)
    whole = [_Heap("", outlines, 1.0, 1.0, 1.0)]
    if not one_to_one or gold <= 0 or estimate.mass_g is None:
        return whole
    limit = _figure("poor_below") * gold / area
    poor = [o for o in outlines if o.gold_value_mg / o.size_mm2 < limit]
    if not poor:
        return whole

    def heap(words: str, held: Sequence[MeasuredBoard]) -> _Heap:
        of_gold, of_mass = sum(o.gold_value_mg for o in held) / gold, sum(o.size_mm2 for o in held) / area
        return _Heap(words, held, len(held) / len(outlines), of_gold, of_mass)

    rich = [o for o in outlines if o.gold_value_mg / o.size_mm2 >= limit]
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


def _with_pieces(portion: Portion, outlines: Sequence[MeasuredBoard], part: Part) -> Portion:
    """Add the pieces cut off the boards of a heap, if the measurements include their rows."""
    if not outlines or any(o.edge_rows is None for o in outlines) or portion.boards is None:
        nothing = not portion.gold_mg.terms or not any(o.gold_value_mg for o in outlines)
        return replace(portion, pieces_g=EMPTY, stripped_g=EMPTY, cuts=0.0) if nothing and outlines else portion
    per_board = portion.boards.times((), 1.0 / _standing_for(outlines, part))
    strips = [(o, r) for o in outlines for r in o.edge_rows or ()]
    lengths = [_length_mm(o, r) for o, r in strips]
    density = density_input(None)
    depth = sum(length * r.depth_mm for length, (_, r) in zip(lengths, strips, strict=True))
    pieces = per_board.times((density,), depth) + per_board.times((density, _beyond()), sum(lengths))
    gold = sum(o.gold_value_mg for o in outlines)
    on_rows = sum(o.gold_value_mg for o in outlines if o.edge_rows)
    # boards with plating but no row at an edge go in as they are
    uncut = sum(o.size_mm2 for o in outlines if not o.edge_rows and o.gold_value_mg > 0) / sum(
        o.size_mm2 for o in outlines
    )
    stripped: ProductModel | None = pieces
    if uncut:
        stripped = None if portion.mass_g is None else pieces + portion.mass_g.times((), uncut)
    cuts = sum(1 + math.floor(length / _figure("longest_piece")) for length in lengths)
    return replace(
        portion,
        pieces_g=pieces if strips else EMPTY,
        gold_in_pieces=on_rows / gold if gold > 0 else 0.0,
        stripped_g=stripped,
        cuts=cuts / _standing_for(outlines, part),
    )


def _standing_for(outlines: Sequence[MeasuredBoard], part: Part) -> float:
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
    text = resources.files("grader.bid").joinpath("data/heaps.toml").read_text("utf-8")
    return parse(text, "heaps")[name].value
