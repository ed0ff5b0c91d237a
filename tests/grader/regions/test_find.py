"""From drawn coverage to regions, rows and boards."""

from collections.abc import Sequence

import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.area import estimate_area
from grader.coverage import Coverage
from grader.regions import ContactRow, Regions, find
from tests.drawn_boards import box, contact_row, polygon_share, union_share
from tests.regions_of import find_regions

PX_PER_MM = 10.0
SIZE_MM = (80.0, 50.0)
# a card's outline, its contacts along the lower edge (y = 45 mm), PCI Express sizes (published footprint)
CARD = box((40.0, 25.0), 70.0, 40.0)
EXPRESS = (0.7, 4.3)
EDGE_Y = 45.0 - 0.5 - 4.3 / 2


def scale(px_per_mm: float) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, ())


def turned(corners_mm: np.ndarray, angle_deg: float) -> np.ndarray:
    a = np.radians(angle_deg)
    return (corners_mm - [40.0, 25.0]) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + [40.0, 25.0]


def seen(
    plated: Sequence[np.ndarray],
    *,
    px_per_mm: float = PX_PER_MM,
    angle_deg: float = 0.0,
    with_scale: bool = True,
    board: np.ndarray | None = CARD,
    contact: np.ndarray | None = None,
) -> Regions:
    """Regions of a drawn card, 80 × 50 mm of it in sight."""
    shape = (round(SIZE_MM[1] * px_per_mm), round(SIZE_MM[0] * px_per_mm))

    def px(corners: np.ndarray) -> np.ndarray:
        return turned(corners, angle_deg) * px_per_mm - 0.5

    share = np.round(255 * union_share([px(c) for c in plated], shape)).astype(np.uint8)
    mask = polygon_share(px(board), shape) > 0.5 if board is not None else np.ones(shape, bool)
    return find_regions(Coverage(share, mask, "drawn", (), contact=contact), scale(px_per_mm) if with_scale else None)


def only_row(found: Regions) -> ContactRow:
    [row] = found.rows
    return row


ROW = contact_row((25.0, EDGE_Y), 24, 1.0, EXPRESS)
KEYED = contact_row((25.0, EDGE_Y), 18, 1.0, EXPRESS, key_after=11, key_gap=2.0)


@pytest.mark.parametrize("angle", [0.0, 8.0, -20.0, 25.0, 180.0])
@pytest.mark.parametrize("px_per_mm", [10.0, 6.0])
def test_a_row_at_the_edge(angle: float, px_per_mm: float) -> None:
    found = seen(ROW, angle_deg=angle, px_per_mm=px_per_mm)
    row = only_row(found)
    assert row.count == 24
    assert row.pitch == pytest.approx(1.0, rel=0.003)
    assert row.contact_length == pytest.approx(4.3, abs=0.05)
    assert row.contact_width == pytest.approx(0.7, abs=0.05)
    assert row.at_edge is True
    assert row.board == 0
    assert {r.finish for r in found.regions} == {"hard_gold"}
    assert all(r.row == 0 and r.board == 0 for r in found.regions)


def test_its_ends_are_the_middles_of_the_first_and_last_contact() -> None:
    ends = sorted(only_row(seen(ROW)).ends_px)
    np.testing.assert_allclose(ends, [[249.5, EDGE_Y * 10 - 0.5], [479.5, EDGE_Y * 10 - 0.5]], atol=0.3)


def test_a_key_gap_is_bridged_and_does_not_enter_the_pitch() -> None:
    row = only_row(seen(KEYED))
    assert row.count == 18
    assert row.pitch == pytest.approx(1.0, rel=0.003)


def test_worn_contacts_are_not_counted_and_leave_the_pitch_alone() -> None:
    row = only_row(seen(contact_row((25.0, EDGE_Y), 24, 1.0, EXPRESS, missing=[3, 9, 10, 17])))
    assert row.count == 20
    assert row.pitch == pytest.approx(1.0, rel=0.003)


def test_a_half_worn_contact_keeps_the_rows_finish() -> None:
    plated = [*contact_row((25.0, EDGE_Y), 24, 1.0, EXPRESS, missing=[12]), box((37.0, EDGE_Y + 1.2), 0.7, 1.4)]
    found = seen(plated)
    assert {r.finish for r in found.regions} == {"hard_gold"}


def test_contacts_run_together_among_others_belong_to_the_row() -> None:
    plated = [*contact_row((25.0, EDGE_Y), 24, 1.0, EXPRESS, missing=[8, 9, 10]), box((34.0, EDGE_Y), 2.7, 4.3)]
    found = seen(plated)
    assert len(found.rows) == 1
    assert {r.finish for r in found.regions} == {"hard_gold"}


def test_a_whole_row_run_together_at_the_edge_is_hard_gold() -> None:
    [region] = seen([box((36.5, EDGE_Y), 24.0, 4.3)]).regions
    assert region.finish == "hard_gold"
    assert region.row is None


def test_pads_inside_the_board_are_immersion_gold() -> None:
    pads = [box((20.0 + 2.54 * i, 15.0 + 2.54 * j), 1.5, 1.5) for i in range(6) for j in range(3)]
    found = seen([*ROW, *pads])
    assert len(found.rows) == 1
    assert sorted(r.finish for r in found.regions) == ["hard_gold"] * 24 + ["immersion_gold"] * 18


def test_a_packages_row_of_pads_is_not_called_an_edge() -> None:
    pads = [box((30.0 + 1.27 * i, 20.0 + y), 0.6, 1.55) for i in range(8) for y in (0.0, 5.4)]
    assert {r.finish for r in seen(pads).regions} == {"immersion_gold"}


@pytest.mark.parametrize("angle", [0.0, 15.0])
def test_a_hatched_pad_is_not_called_an_edge(angle: float) -> None:
    """A plane drawn as a few bars of uneven lengths, as a hatched or slotted pad is."""
    lengths = [5.0, 8.0, 9.5, 9.5, 8.2, 5.5]
    bars = [box((38.0, 14.0 + 1.1 * i), length, 0.55) for i, length in enumerate(lengths)]
    found = seen(bars, angle_deg=angle)
    assert "hard_gold" not in {r.finish for r in found.regions}


def test_two_cards_have_their_own_rows() -> None:
    cards = [box((20.0, 25.0), 30.0, 40.0), box((60.0, 25.0), 30.0, 40.0)]
    rows = contact_row((11.0, EDGE_Y), 16, 1.0, EXPRESS) + contact_row((51.0, EDGE_Y), 12, 1.5, (1.0, 4.3))
    shape = (500, 800)
    mask = union_share([c * 10 - 0.5 for c in cards], shape) > 0.5
    share = np.round(255 * union_share([c * 10 - 0.5 for c in rows], shape)).astype(np.uint8)
    found = find_regions(Coverage(share, mask, "drawn", ()), scale(10.0))
    assert sorted((r.count, round(r.pitch or 0, 1)) for r in found.rows) == [(12, 1.5), (16, 1.0)]
    assert len({r.board for r in found.rows}) == 2
    assert {r.board for r in found.regions} == {0, 1}


def test_without_scale_all_is_in_pixels() -> None:
    row = only_row(seen(ROW, with_scale=False))
    assert row.count == 24
    assert row.pitch == pytest.approx(10.0, rel=0.003)
    assert row.contact_length == pytest.approx(43.0, abs=0.5)
    assert row.at_edge is True


def test_without_scale_a_loose_pad_is_left_undetermined() -> None:
    assert [r.finish for r in seen([box((30.0, 20.0), 3.0, 3.0)], with_scale=False).regions] == ["undetermined"]


def test_where_the_board_fills_the_frame_nothing_is_said_of_the_edge() -> None:
    found = seen(ROW, board=None)
    assert only_row(found).at_edge is None
    assert {r.finish for r in found.regions} == {"hard_gold"}


def test_what_the_segmenter_saw_overrules_geometry_where_it_is_sure() -> None:
    shape = (500, 800)
    surely, surely_not = np.full(shape, 255, np.uint8), np.zeros(shape, np.uint8)
    unsure = np.full(shape, 128, np.uint8)
    assert {r.finish for r in seen(ROW, contact=surely_not).regions} == {"immersion_gold"}
    assert {r.finish for r in seen([box((30.0, 20.0), 3.0, 3.0)], contact=surely).regions} == {"hard_gold"}
    assert {r.finish for r in seen(ROW, contact=unsure).regions} == {"hard_gold"}


def test_every_pixel_of_a_region_bears_its_number() -> None:
    found = seen([*ROW, box((30.0, 20.0), 3.0, 3.0)])
    assert [r.number for r in found.regions] == list(range(1, 26))
    assert set(np.unique(found.labels)) == set(range(26))
    for region in found.regions:
        ys, xs = np.nonzero(found.labels == region.number)
        x0, y0 = region.box_px.min(axis=0) - 3
        x1, y1 = region.box_px.max(axis=0) + 3
        assert x0 <= xs.min() <= xs.max() <= x1
        assert y0 <= ys.min() <= ys.max() <= y1


def test_faint_edges_belong_to_the_region_beside_them() -> None:
    corners = box((30.03, 20.04), 3.0, 3.0)
    found = seen([corners])
    share = polygon_share(corners * 10 - 0.5, (500, 800))
    assert np.all(found.labels[share > 0] == 1)
    assert np.all(found.labels[share == 0] == 0)


# a pale pad, nowhere half covered, and a row of contacts beside it
PALE = (slice(100, 130), slice(300, 330))


def card_with_pale_pad(contact: int | None) -> tuple[Coverage, Regions]:
    shape = (500, 800)
    share = np.round(255 * union_share([c * PX_PER_MM - 0.5 for c in ROW], shape)).astype(np.uint8)
    share[PALE] = 90
    told = None if contact is None else np.where(share == 90, np.uint8(contact), np.uint8(255))
    coverage = Coverage(share, polygon_share(CARD * PX_PER_MM - 0.5, shape) > 0.5, "drawn", (), contact=told)
    return coverage, find_regions(coverage, scale(PX_PER_MM))


@pytest.mark.parametrize(
    ("contact", "finish"), [(0, "immersion_gold"), (255, "hard_gold"), (110, "undetermined"), (None, "undetermined")]
)
def test_a_faint_patch_has_the_finish_that_the_segmenter_saw(contact: int | None, finish: str) -> None:
    coverage, found = card_with_pale_pad(contact)
    [pale] = [r for r in found.regions if r.faint]
    assert pale.finish == finish
    assert pale.board == 0
    assert pale.row is None
    assert np.all(found.labels[PALE] == pale.number)
    area = estimate_area(coverage, found, scale(PX_PER_MM))
    on_board = sum(part.draws(100) for part in area.by_board[0].values())
    np.testing.assert_allclose(on_board, area.total.draws(100), rtol=1e-9)


def test_a_faint_patch_changes_nothing_of_what_is_solid() -> None:
    _, found = card_with_pale_pad(0)
    alone = seen(ROW, contact=np.full((500, 800), 255, np.uint8))
    assert found.rows == alone.rows
    solid = [r for r in found.regions if not r.faint]
    assert [r.number for r in solid] == list(range(1, 25))
    for one, other in zip(solid, alone.regions, strict=True):
        assert np.array_equal(one.box_px, other.box_px)
        assert (one.finish, one.doubt, one.row, one.board) == (other.finish, other.doubt, other.row, other.board)


def test_where_there_are_too_many_regions_the_faint_and_then_the_smallest_give_way(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    share = np.zeros((60, 200), np.uint8)
    for i, side in enumerate((4, 12, 8, 10)):
        share[20 : 20 + side, 40 * i : 40 * i + side] = 255
    share[0:6, 0:6], share[0:3, 100:103] = 60, 60
    coverage = Coverage(share, np.ones(share.shape, bool), "drawn", ())

    def sizes(most: int) -> list[int]:
        monkeypatch.setattr(find, "_MOST_REGIONS", most)
        found = find_regions(coverage, scale(PX_PER_MM))
        assert found.labels.max() == len(found.regions) <= most
        return [int((found.labels == r.number).sum()) for r in found.regions]

    assert sizes(6) == [16, 144, 64, 100, 36, 9]
    assert sizes(5) == [16, 144, 64, 100, 36]
    assert sizes(4) == [16, 144, 64, 100]
    assert sizes(3) == [144, 100, 64]


def test_nothing_plated_gives_no_regions() -> None:
    found = seen([])
    assert found.regions == ()
    assert found.rows == ()
    assert len(found.boards) == 1
    assert not found.labels.any()
