"""Rows of contacts from measured pieces: which belong together, and at what pitch."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.regions.rows import PlatedPiece, chosen_row, find_rows


def piece(
    x: float, y: float, length: float = 4.3, width: float = 0.7, angle_deg: float = 90.0, fill: float = 0.95
) -> PlatedPiece:
    a = np.radians(angle_deg)
    centre = np.array([x, y])
    return PlatedPiece(0, centre, centre, np.zeros((4, 2)), length, width, np.array([np.cos(a), np.sin(a)]), fill)


def row(places: np.ndarray, angle_deg: float = 0.0, **size: float) -> list[PlatedPiece]:
    """Contacts at distances along a line that leaves the origin at an angle, each across that line."""
    a = np.radians(angle_deg)
    return [piece(p * np.cos(a), p * np.sin(a), angle_deg=angle_deg + 90, **size) for p in places]


def found(pieces: list[PlatedPiece], *, with_scale: bool = True) -> list[tuple[int, float | None]]:
    pitches, rows = find_rows(pieces, with_scale=with_scale)
    return [(len(r), p) for p, r in zip(pitches, rows, strict=True)]


@given(count=st.integers(3, 60), pitch=st.floats(0.9, 2.4), angle=st.floats(-180, 180))
@settings(max_examples=40, deadline=None)
def test_an_even_row_at_any_angle(count: int, pitch: float, angle: float) -> None:
    [(n, p)] = found(row(pitch * np.arange(count), angle))
    assert n == count
    assert p == pytest.approx(pitch, rel=1e-9)


@given(st.randoms(use_true_random=False))
@settings(max_examples=20, deadline=None)
def test_order_of_the_pieces_does_not_matter_and_members_come_in_order(random: object) -> None:
    pieces = row(1.0 * np.arange(20), 30.0)
    random.shuffle(pieces)  # type: ignore[attr-defined]
    pitches, [members] = find_rows(pieces, with_scale=True)
    steps = np.diff([pieces[i].centre for i in members], axis=0)
    assert pitches == [pytest.approx(1.0)]
    np.testing.assert_allclose(np.hypot(*steps.T), 1.0)


def test_a_key_does_not_part_a_row_nor_change_its_pitch() -> None:
    # as on a PCI Express edge: 11 and 7 contacts at 1.0 mm, the step over the key 3.0 mm (published footprint)
    [(n, pitch)] = found(row(np.r_[np.arange(11), 13 + np.arange(7)] * 1.0))
    assert n == 18
    assert pitch == pytest.approx(1.0)


def test_a_key_that_is_no_whole_number_of_steps() -> None:
    [(n, pitch)] = found(row(np.r_[np.arange(12), 13.5 + np.arange(12)] * 1.27, width=1.0))
    assert n == 24
    assert pitch == pytest.approx(1.27)


def test_worn_contacts_leave_the_pitch_alone() -> None:
    places = np.delete(np.arange(30), [4, 5, 11, 20]) * 1.0
    [(n, pitch)] = found(row(places))
    assert n == 26
    assert pitch == pytest.approx(1.0)


def test_shorter_contacts_among_long_ones_are_of_the_row() -> None:
    # PCI Express: presence contacts 3.2 mm among 4.3 mm, ends level at the inner side (published footprint)
    pieces = row(1.0 * np.arange(18))
    pieces[16] = piece(16.0, 0.55, length=3.2)
    [(n, pitch)] = found(pieces)
    assert n == 18
    assert pitch == pytest.approx(1.0, rel=2e-3)


@given(st.floats(0.0, 0.08), st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_jitter_of_the_places_moves_the_pitch_little(sd: float, seed: int) -> None:
    places = np.arange(40) + np.clip(np.random.default_rng(seed).normal(0, sd, 40), -0.15, 0.15)
    [(n, pitch)] = found(row(places))
    assert n == 40
    assert pitch == pytest.approx(1.0, abs=0.03)


def test_uneven_neighbours_have_no_pitch() -> None:
    places = np.cumsum([0, 1.0, 1.5, 1.0, 1.4, 0.9, 1.35, 1.6, 1.0, 1.45])
    [(n, pitch)] = found(row(places))
    assert n == 10
    assert pitch is None


def test_rows_of_two_boards_stay_two() -> None:
    pieces = row(1.0 * np.arange(20)) + [piece(x, 30.0, length=7.62, width=1.78) for x in 2.54 * np.arange(12)]
    assert sorted(found(pieces)) == [(12, pytest.approx(2.54)), (20, pytest.approx(1.0))]


def test_rows_across_each_other_stay_two() -> None:
    corner = row(1.0 * np.arange(10)) + [piece(13.0, 3 + y, angle_deg=0.0) for y in 1.0 * np.arange(10)]
    assert sorted(n for n, _ in found(corner)) == [10, 10]


def test_square_pads_make_no_row() -> None:
    assert found([piece(x, 0.0, length=1.5, width=1.4) for x in 2.54 * np.arange(12)]) == []


def test_ragged_pieces_and_specks_make_no_row() -> None:
    assert found(row(1.0 * np.arange(12), fill=0.3)) == []
    assert found(row(0.2 * np.arange(12), length=0.5, width=0.12)) == []


def test_without_scale_small_numbers_are_pixels_and_count() -> None:
    [(n, _)] = found(row(10.0 * np.arange(12), length=43.0, width=7.0), with_scale=False)
    assert n == 12


def test_two_are_no_row_and_none_are_none() -> None:
    assert found(row(np.array([0.0, 1.0]))) == []
    assert found([]) == []


def test_a_merged_strip_in_the_band_belongs_to_the_row_and_a_pad_outside_does_not() -> None:
    pieces = row(np.r_[0:8, 11:20] * 1.0)
    strip = piece(9.0, 0.0, length=4.3, width=2.7)
    pad = piece(9.0, 12.0, length=1.5, width=1.4)
    everything = [*pieces, strip, pad]
    _, rows = find_rows(everything, with_scale=True)
    assert chosen_row(everything, rows) == [0] * 18 + [None]


def test_many_rows_and_many_specks_are_sorted_out_in_reasonable_time() -> None:
    rng = np.random.default_rng(0)
    pieces = [piece(x, 12.0 * y) for y in range(40) for x in range(40)]
    pieces += [piece(x, y, length=0.5, width=0.4) for x, y in rng.uniform(0, 480, (4000, 2))]
    _, rows = find_rows(pieces, with_scale=True)
    assert [len(r) for r in rows] == [40] * 40
    assert len(chosen_row(pieces, rows)) == len(pieces)
