"""What is cut off boards, and the heaps that a lot can be sorted into."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.bid.heaps import portions_of
from grader.lot import Lot, Part, Sight, estimate_lot
from grader.measured import EdgeRow, Measured, MeasuredBoard
from grader.model import EMPTY, ProductModel
from tests.measured_photos import outlined, photo_with

# a module of 133.35 mm x 31.25 mm (JEDEC MO-161 and successors give this size for modules of desktop computers; from
# memory) with a row of contacts 2.55 mm deep
MODULE = outlined(133.35 * 31.25, 5.0, 133.35 / 31.25, (EdgeRow(126.0, 2.55),))
BARE = outlined(4000.0, 0.0, 1.6, ())


def photo(*outlines: MeasuredBoard) -> Measured:
    gold = sum(o.gold_value_mg for o in outlines)
    known = Input("thickness", "thickness", Distribution("lognormal", (1.0, 0.4)), "test", of=("hard_gold",))
    model = ProductModel.of(gold, (known,)) if gold else EMPTY
    return photo_with("a.jpg", model, sha256=f"{len(outlines)}" * 64, boards=outlines)


def lot(*outlines: MeasuredBoard, count: float | None = None):  # type: ignore[no-untyped-def]
    known = None if count is None else Distribution("constant", (count,))
    return estimate_lot(Lot((Part("modules", (Sight(photo(*outlines), None, len(outlines)),), count=known),)))


def median(model: ProductModel | None) -> float:
    assert model is not None
    return float(np.median(model.draws()))


def test_a_row_along_a_side_is_cut_off_with_the_whole_side() -> None:
    """133.35 mm x (2.55 + some 1.5) mm at 0.00334 g/mm² (mean of what is assumed): 1.8 g; too long: two cuts."""
    (heap,) = portions_of(lot(MODULE, count=100), {})
    by_hand = 100 * 133.35 * (2.55 + 1.5) * 0.00334
    assert median(heap.pieces_g) == pytest.approx(by_hand, rel=0.12)
    assert heap.pieces_g == heap.stripped_g
    assert heap.cuts == 2
    assert heap.gold_in_pieces == 1.0
    assert median(heap.boards) == 100


def test_a_short_row_is_cut_off_alone() -> None:
    short = outlined(100.0 * 80.0, 2.0, 1.25, (EdgeRow(40.0, 7.0),))
    (heap,) = portions_of(lot(short), {})
    assert median(heap.pieces_g) == pytest.approx(40.0 * (7.0 + 1.5) * 0.00334, rel=0.1)
    assert heap.cuts == 1


def test_no_row_no_pieces() -> None:
    (heap,) = portions_of(lot(BARE, BARE, count=50), {})
    assert (heap.pieces_g, heap.cuts) == (EMPTY, 0.0)
    pads = outlined(4000.0, 3.0, 1.6, ())
    (whole,) = portions_of(lot(pads, count=50), {})
    assert whole.pieces_g == EMPTY
    assert whole.gold_in_pieces == 0.0
    assert median(whole.stripped_g) == pytest.approx(median(whole.mass_g))  # goes in as it is


def test_an_older_measurement_does_not_say_what_is_cut_off() -> None:
    (heap,) = portions_of(lot(outlined(4000.0, 3.0, 1.6)), {})
    assert heap.pieces_g is heap.stripped_g is heap.cuts is None
    (bare,) = portions_of(lot(outlined(4000.0, 0.0, 1.6)), {})
    assert bare.pieces_g == EMPTY  # where no gold was seen there is nothing to trim


def test_heaps_are_the_lot() -> None:
    estimate = lot(MODULE, MODULE, BARE, count=300)
    rich, poor = portions_of(estimate, {})
    assert (rich.name, poor.name) == ("modules with much plating", "modules with little plating")
    for name, whole in (("gold_mg", estimate.gold_mg), ("mass_g", estimate.mass_g)):
        both = getattr(rich, name) + getattr(poor, name)
        assert both.draws() == pytest.approx(whole.draws())
    assert median(rich.boards) == pytest.approx(200)
    assert median(poor.boards) == pytest.approx(100)
    assert median(poor.gold_mg) == 0
    assert (poor.cuts, rich.cuts) == (0.0, 2.0)


def test_boards_alike_are_one_heap() -> None:
    (heap,) = portions_of(lot(MODULE, MODULE), {})
    assert heap.name == "modules"
    assert math.isclose(median(heap.boards), 2)
