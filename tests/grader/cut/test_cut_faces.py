"""Backs laid under fronts: gold lands where it is on the board, and what cannot be told is refused."""

import cv2
import numpy as np
import pytest

from calibration.errors import RefusedError
from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.area import estimate_area
from grader.coverage import Coverage
from grader.cut import CutBoard, CutRules, PlannedBoard, Turned, Vessel, cut_boards, join_faces, plan_board
from grader.cut.words import BOTH_NOTE, FACE_NOTE, cut_document, cut_notes
from grader.gold import gold_mass
from grader.model import Range
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement
from grader.request import Request
from grader.samples import samples_folder
from tests.regions_of import find_regions

Places = np.ndarray
Board = tuple[Places, list[Places]]  # outline and plated boxes, (k, 2), mm

# 120 x 30 mm with one corner off: it lies in one way only
NOTCHED = np.array([[0, 0], [105, 0], [120, 12], [120, 30], [0, 30]], float)
PLAIN = np.array([[0, 0], [120, 0], [120, 30], [0, 30]], float)


def boxes(x0: float, y0: float, count: int = 8) -> list[Places]:
    return [np.array([[x0, y], [x0 + 6, y], [x0 + 6, y + 1.4], [x0, y + 1.4]]) for y in y0 + 2.6 * np.arange(count)]


FRONT, BACK = boxes(1, 5), boxes(60, 5)


def placed(points: Places, angle_deg: float, at: tuple[float, float]) -> Places:
    a = np.radians(angle_deg)
    return points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + np.array(at)


def over(points: Places, turned: Turned, size: tuple[float, float] = (120.0, 30.0)) -> Places:
    """Places on the front as they lie in a photo of the back, the board turned over in its place."""
    flipped = points.copy()
    axis = 0 if turned == "sideways" else 1
    flipped[:, axis] = size[axis] - points[:, axis]
    return flipped


@pytest.fixture(scope="module")
def photo() -> Photo:
    return load_photo(samples_folder() / "no-gold.jpg")


def seen(photo: Photo, boards: list[Board], px_per_mm: float = 5.0) -> tuple[CutBoard | RefusedError, ...]:
    """Boards as found in a photo with known coverage."""
    scale = Scale("length", UniformPlane(px_per_mm), px_per_mm, ())
    shape = photo.rgb.shape[:2]
    board, share = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    for outline, gold in boards:
        for picture, polygons, value in ((board, [outline], 1), (share, gold, 255)):
            for points in polygons:
                cv2.fillPoly(picture, [np.round(points * px_per_mm * 16).astype(np.int32)], value, shift=4)
    coverage = Coverage(share, board > 0, "drawn", ())
    regions = find_regions(coverage, scale)
    area = estimate_area(coverage, regions, scale, photo.short_id)
    done = Measurement(photo, Request(), scale, coverage, regions, area, gold_mass(area.by_finish), ())
    return cut_boards(done)


def joined(found: tuple[CutBoard | RefusedError, ...]) -> CutBoard:
    (board,) = found
    assert isinstance(board, CutBoard), board
    assert len(board.faces) == 2
    return board


def middle_of_gold(board: CutBoard, face: int) -> Places:
    """Centre of a face's plating in the front's photo, mm."""
    cells = sum(board.faces[face].plated_mm2.values())
    u, v = (
        float((cells.sum(1 - axis) * (np.arange(cells.shape[axis]) + 0.5)).sum() / cells.sum()) for axis in (0, 1)
    )
    return np.asarray(board.corner_mm + np.array([u, v]) * 0.5 @ board.axes)


@pytest.mark.parametrize("angle", [0.0, 8.0, 90.0, 187.0])
@pytest.mark.parametrize("turned", ["sideways", "upwards"])
def test_gold_of_the_back_lands_where_it_is(photo: Photo, turned: Turned, angle: float) -> None:
    front = seen(photo, [(placed(NOTCHED, 0, (60, 60)), [placed(g, 0, (60, 60)) for g in FRONT])])
    back = seen(
        photo,
        [
            (
                placed(over(NOTCHED, turned), angle, (200, 160)),
                [placed(over(g, turned), angle, (200, 160)) for g in BACK],
            )
        ],
        px_per_mm=4.0,
    )
    board = joined(join_faces(front, back))
    expected = np.mean([g.mean(axis=0) for g in BACK], axis=0) + 60
    assert middle_of_gold(board, 1) == pytest.approx(expected, abs=0.6)
    assert isinstance(front[0], CutBoard)
    assert isinstance(back[0], CutBoard)
    total = sum(Range.of(b.gold_mg().draws()).value for b in (front[0], back[0]))
    assert Range.of(board.gold_mg().draws()).value == pytest.approx(total, rel=1e-9)


def test_a_plan_keeps_the_gold_of_both_faces(photo: Photo) -> None:
    front = seen(photo, [(placed(NOTCHED, 0, (60, 60)), [placed(g, 0, (60, 60)) for g in FRONT])])
    back = seen(
        photo,
        [(placed(over(NOTCHED, "upwards"), 0, (60, 60)), [placed(over(g, "upwards"), 0, (60, 60)) for g in BACK])],
    )
    rules = CutRules(Vessel(100, 100))
    board = joined(join_faces(front, back))
    both = plan_board(board, rules)
    one = plan_board(front[0], rules) if isinstance(front[0], CutBoard) else None
    assert one is not None

    def kept(planned: PlannedBoard, u_mm: float) -> bool:
        return any(p.u0_mm <= u_mm <= p.u1_mm for p in planned.plan.kept)

    assert kept(both, 4)
    assert kept(both, 63)
    assert not kept(one, 63)
    assert both.plan.lost <= 0.005
    gold = sum(Range.of(p.gold_mg.draws()).value for p in both.pieces if p.gold_mg.terms)
    assert gold == pytest.approx(Range.of(board.gold_mg().draws()).value, rel=1e-6)
    assert BOTH_NOTE in cut_notes([both])
    assert FACE_NOTE not in cut_notes([both])
    assert FACE_NOTE in cut_notes([one])
    assert cut_document("f.jpg", (both,), "b.jpg")["boards"][0]["faces"] == 2


def test_a_rectangle_needs_to_be_told_how_it_was_turned(photo: Photo) -> None:
    front = seen(photo, [(PLAIN + 60, [g + 60 for g in FRONT])])
    for turned in ("sideways", "upwards"):
        back = seen(photo, [(over(PLAIN, turned) + 61, [over(g, turned) + 61 for g in BACK])])
        (untold,) = join_faces(front, back)
        assert isinstance(untold, RefusedError)
        assert untold.code == "faces-ambiguous"
        board = joined(join_faces(front, back, turned))
        expected = np.mean([g.mean(axis=0) for g in BACK], axis=0) + 60
        assert middle_of_gold(board, 1) == pytest.approx(expected, abs=0.6)


def test_boards_that_are_alike_are_told_by_their_places(photo: Photo) -> None:
    shifts = [np.array([40.0, 40.0]), np.array([40.0, 90.0]), np.array([200.0, 60.0])]
    starts = [50.0, 70.0, 90.0]
    front = seen(photo, [(PLAIN + s, [g + s for g in FRONT]) for s in shifts])
    moved = np.array([7.0, -5.0])  # the camera was not held in the same place
    back = seen(
        photo,
        [
            (over(PLAIN, "sideways") + s + moved, [over(g, "sideways") + s + moved for g in boxes(x, 5)])
            for s, x in zip(shifts, starts, strict=True)
        ],
    )
    assert all(isinstance(b, RefusedError) and b.code == "faces-ambiguous" for b in join_faces(front, back))
    boards = [b for b in join_faces(front, back, "sideways") if isinstance(b, CutBoard)]
    assert len(boards) == 3
    found = sorted(tuple(middle_of_gold(b, 1)) for b in boards)
    expected = sorted(
        tuple(np.mean([g.mean(axis=0) for g in boxes(x, 5)], axis=0) + s) for s, x in zip(shifts, starts, strict=True)
    )
    assert np.array(found) == pytest.approx(np.array(expected), abs=0.6)


def test_a_board_whose_gold_is_all_on_its_back_is_planned(photo: Photo) -> None:
    front = seen(photo, [(NOTCHED + 60, [])])
    back = seen(photo, [(over(NOTCHED, "sideways") + 60, [over(g, "sideways") + 60 for g in BACK])])
    with pytest.raises(RefusedError, match="No gold"):
        plan_board(front[0], CutRules(Vessel(100, 100))) if isinstance(front[0], CutBoard) else None
    assert plan_board(joined(join_faces(front, back)), CutRules(Vessel(100, 100))).plan.kept


@pytest.mark.parametrize("outline", [PLAIN * [0.9, 1.0], PLAIN * [1.0, 1.3], NOTCHED[:, ::-1] * [1.0, 0.5]])
def test_outlines_that_do_not_fit_are_refused(photo: Photo, outline: Places) -> None:
    front = seen(photo, [(NOTCHED + 60, [g + 60 for g in FRONT])])
    back = seen(photo, [(outline + 60, [])])
    for turned in (None, "sideways"):
        (refused,) = join_faces(front, back, turned)
        assert isinstance(refused, RefusedError)
        assert refused.code == "faces-do-not-fit"
        assert len(refused.advice) > 20


def test_the_same_face_twice_does_not_pass_for_a_back(photo: Photo) -> None:
    front = seen(photo, [(NOTCHED + 60, [g + 60 for g in FRONT])])
    (refused,) = join_faces(front, front)
    assert isinstance(refused, RefusedError)
