"""Hard gold or immersion gold, from shape and place alone."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.finishes import HARD_GOLD, IMMERSION_GOLD, UNDETERMINED
from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.model import FINISHES, Finish
from grader.regions.finish import finish_of_chance, finish_of_loose, finish_of_row, hard_chance
from grader.regions.model import ContactRow
from grader.regions.rows import PlatedPiece

SCALE = Scale("length", UniformPlane(10.0), 10.0, ())

# PCI Express: 0.70 × 4.30 mm at 1.0 mm; ISA: 1.78 × 7.62 mm at 2.54 mm (published footprints)
EXPRESS = ContactRow(18, 1.0, 4.3, 0.7, 0.02, 0, True, ((0.0, 0.0), (170.0, 0.0)))
WIDE = replace(EXPRESS, count=31, pitch=2.54, contact_length=7.62, contact_width=1.78)
# small-outline memory modules: contacts about 0.35 × 2.4 mm at 0.5 mm (from memory)
SMALL = replace(EXPRESS, count=60, pitch=0.5, contact_length=2.4, contact_width=0.35)
# a surface-mounted package's pads: 0.6 × 1.55 mm at 1.27 mm (common practice, no source)
PADS = replace(EXPRESS, count=8, pitch=1.27, contact_length=1.55, contact_width=0.6, at_edge=False)

VERDICTS = (HARD_GOLD, IMMERSION_GOLD, UNDETERMINED)  # what shape and place can say; people may say others


def loose(length: float, width: float) -> PlatedPiece:
    return PlatedPiece(1, np.zeros(2), np.zeros(2), np.zeros((4, 2)), length, width, np.array([1.0, 0.0]), 0.95)


@pytest.mark.parametrize("row", [EXPRESS, WIDE, SMALL])
def test_rows_of_contacts_at_an_edge_are_hard_gold(row: ContactRow) -> None:
    assert finish_of_row(row, with_scale=True) == "hard_gold"


@pytest.mark.parametrize("row", [EXPRESS, WIDE])
def test_where_no_outline_is_known_a_long_even_row_is_hard_gold(row: ContactRow) -> None:
    assert finish_of_row(replace(row, at_edge=None), with_scale=True) == "hard_gold"


@pytest.mark.parametrize("at_edge", [True, False, None])
def test_package_pads_are_immersion_gold_wherever_they_lie(at_edge: bool | None) -> None:
    assert finish_of_row(replace(PADS, at_edge=at_edge), with_scale=True) == "immersion_gold"


def test_long_uneven_pads_away_from_the_edge_are_not_called_hard_gold() -> None:
    uneven = replace(EXPRESS, pitch=None, at_edge=False, length_spread=0.3)
    assert finish_of_row(uneven, with_scale=True) != "hard_gold"


def test_three_in_a_row_away_from_an_edge_are_not_called_hard_gold() -> None:
    assert finish_of_row(replace(EXPRESS, count=3, at_edge=False), with_scale=True) != "hard_gold"
    assert finish_of_row(replace(EXPRESS, count=3, at_edge=None), with_scale=True) != "hard_gold"


def test_without_scale_only_many_slender_contacts_are_called_hard_gold() -> None:
    in_px = replace(EXPRESS, pitch=10.0, contact_length=43.0, contact_width=7.0)
    assert finish_of_row(in_px, with_scale=False) == "hard_gold"
    assert finish_of_row(replace(in_px, count=5), with_scale=False) == "undetermined"
    assert finish_of_row(replace(in_px, contact_length=10.0), with_scale=False) == "undetermined"
    assert finish_of_row(replace(in_px, at_edge=False), with_scale=False) == "undetermined"


@given(
    st.integers(3, 200), st.floats(0.2, 10), st.floats(0.1, 5), st.sampled_from([True, False, None]), st.booleans(),
    st.floats(0, 0.5), st.booleans(),
)  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_every_row_has_a_finish_and_being_at_the_edge_never_speaks_against_hard_gold(
    count: int, length: float, width: float, edge: bool | None, even: bool, spread: float, with_scale: bool
) -> None:
    row = ContactRow(
        count, 1.0 if even else None, max(length, width), min(length, width), spread, None, edge, ((0, 0), (1, 0))
    )
    finish = finish_of_row(row, with_scale=with_scale)
    assert finish in FINISHES
    if edge is False and finish == "hard_gold":
        assert finish_of_row(replace(row, at_edge=True), with_scale=with_scale) == "hard_gold"


@pytest.mark.parametrize("gap_mm", [0.3, 1.0])
def test_a_strip_of_merged_contacts_at_the_edge_is_hard_gold(gap_mm: float) -> None:
    # 19 mm along the edge, 4.3 mm across: the gap is given from half the length, which reaches over the edge
    assert finish_of_loose(loose(19.0, 4.3), gap_mm - (19.0 - 4.3) / 2, SCALE) == "hard_gold"


def test_the_same_strip_inside_a_board_or_without_an_outline_is_left_open() -> None:
    assert finish_of_loose(loose(19.0, 4.3), 12.0 - (19.0 - 4.3) / 2, SCALE) == "undetermined"
    assert finish_of_loose(loose(19.0, 4.3), None, SCALE) == "undetermined"


@pytest.mark.parametrize(("length", "width"), [(1.5, 1.4), (6.0, 5.0), (3.0, 0.8), (40.0, 30.0), (9.0, 0.4)])
def test_other_pieces_are_pads_and_planes(length: float, width: float) -> None:
    assert finish_of_loose(loose(length, width), 0.2, SCALE) == "immersion_gold"


def test_without_scale_a_loose_piece_is_left_open() -> None:
    assert finish_of_loose(loose(190.0, 43.0), 1.0, None) == "undetermined"


@given(st.sampled_from(VERDICTS), st.floats(0, 1), st.floats(0, 1))
@settings(deadline=None)
def test_the_more_of_a_contact_is_seen_the_likelier_is_hard_gold(verdict: Finish, one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert hard_chance(verdict, low) <= hard_chance(verdict, high)
    assert hard_chance("immersion_gold", one) <= hard_chance(verdict, one) <= hard_chance("hard_gold", one)


def test_what_shape_and_segmenter_agree_on_has_next_to_no_doubt_and_what_they_dispute_has() -> None:
    assert finish_of_chance(hard_chance("hard_gold", 0.9))[1] < 0.02
    assert finish_of_chance(hard_chance("immersion_gold", 0.05))[1] < 0.03
    disputed = finish_of_chance(hard_chance("hard_gold", 0.1))
    assert disputed[0] == "undetermined" or disputed[1] > 0.1
    for verdict in VERDICTS:
        assert 0.02 < hard_chance(verdict, None) < 0.98


@given(st.floats(0, 1))
@settings(deadline=None)
def test_a_finish_is_named_only_where_it_is_twice_as_likely_as_the_other(chance: float) -> None:
    finish, doubt = finish_of_chance(chance)
    if finish == "undetermined":
        assert 1 / 3 < chance < 2 / 3
        assert doubt == 0
    else:
        assert doubt == pytest.approx(min(chance, 1 - chance))
        assert doubt <= 1 / 3
        assert (finish == "hard_gold") == (chance > 0.5)
