"""Masses and gold of cut boards against handbook values, and the template's paper against its standards.

FR-4 laminate has 1.85 g/cm³ (1.8 to 1.9; data sheets of glass-epoxy laminates, read), so that 1.6 mm of it without
copper have 0.296 g/cm² (0.288 to 0.304; computed), and with one ounce of copper to the square foot all over both
faces 0.344 g/cm² (computed: 305.15 g/m² a face in place of as much laminate). Paper: ISO 216 (A4 is 210 × 297 mm),
and ANSI/ASME Y14.1 (A is 8.5 × 11 in), both from memory.
"""

import numpy as np
import pypdfium2
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.plane import UniformPlane
from calibration.target import Paper
from grader.cut import CutBoard, CutFace, CutRules, LongestPiece, PlannedBoard, plan_board
from grader.cut.board import STEP_MM, density_input
from grader.cut.template import BAR_TOP_MM, template_pdf
from grader.model import ProductModel, Range

KIND = ("hard_gold", 0, False)
LAMINATE_G_CM3, LAMINATE_LOW, LAMINATE_HIGH = 1.85, 1.8, 1.9
OUNCE_G_CM2 = 305.152e-4  # of a face
COPPER_G_CM3 = 8.96


def known(name: str, value: float, unit: str = "") -> Input:
    return Input.named(name, name, Distribution("constant", (value,)), "given", unit)


def board_of(size_mm: tuple[float, float], gold: np.ndarray, mg_per_mm2: float, density: Input) -> CutBoard:
    """A whole rectangle, plated where ``gold`` (cells) says."""
    length, width = size_mm
    outline = np.array([[0, 0], [length, 0], [length, width], [0, width]], float)
    cells = (round(length / STEP_MM), round(width / STEP_MM))
    face = CutFace({KIND: gold * STEP_MM**2}, gold > 0, {KIND: ProductModel.of(mg_per_mm2, ())}, {}, None)
    return CutBoard(
        outline, UniformPlane(10.0), np.zeros(2), np.eye(2), ("left", "top"), np.full(cells, STEP_MM**2), (face,), (),
        density, known("outline", 0.0, "mm"), 0.1,
    )  # fmt: skip


def ends(cells: tuple[int, int], deep: int) -> np.ndarray:
    gold = np.zeros(cells)
    gold[2:deep] = gold[-deep:-2] = 0.5
    return gold


def test_bare_laminate_and_full_copper_lie_in_the_range_for_boards() -> None:
    low, _, high = (100 * x for x in density_input(1.6).distribution.parameters)  # g/cm²
    bare = LAMINATE_G_CM3 * 0.16
    assert bare == pytest.approx(0.296)
    assert low < LAMINATE_LOW * 0.16 < bare < LAMINATE_HIGH * 0.16 < high
    copper_cm = 2 * OUNCE_G_CM2 / COPPER_G_CM3
    full = 2 * OUNCE_G_CM2 + LAMINATE_G_CM3 * (0.16 - copper_cm)
    assert full == pytest.approx(0.344, abs=5e-4)
    assert bare < density_input(1.6).distribution.parameters[1] * 100 < full < high


def test_a_bare_board_of_known_size_has_the_handbook_mass() -> None:
    # 100 × 50 mm of 1.6 mm laminate without copper: 0.296 g/cm² × 50 cm²
    board = board_of((100, 50), ends((200, 100), 20), 1e-3, known("density", LAMINATE_G_CM3 * 0.16 / 100, "g/mm2"))
    assert board.mass_g().draws(100).mean() == pytest.approx(14.8, rel=1e-9)
    # a module's bare board, 133.35 × 31.25 × 1.27 mm: 9.8 g without, 9.5 to 13 g with inner copper (computed)
    module = ProductModel.of(133.35 * 31.25, [density_input(1.27)])
    mass = Range.of(module.draws())
    bare_g = 133.35 * 31.25 * 1.27 * LAMINATE_G_CM3 * 1e-3
    assert bare_g == pytest.approx(9.8, abs=0.05)
    assert 9.5 <= mass.low <= mass.high <= 13


def test_pieces_add_up_to_the_board_and_a_saw_takes_its_kerf() -> None:
    bare = known("density", LAMINATE_G_CM3 * 0.16 / 100, "g/mm2")
    board = board_of((160, 25), ends((320, 50), 20), 1e-3, bare)
    whole_g, whole_mg = 160 * 25 * 0.296e-2, 2 * 18 * 50 * 0.5 * STEP_MM**2 * 1e-3
    for kerf in (0.0, 2.0):
        planned = plan_board(board, CutRules(LongestPiece(170), kerf_mm=kerf))
        dust = len(planned.plan.cuts) * kerf * 25 * 0.296e-2
        assert len(planned.plan.cuts) == 2
        assert sum(p.mass_g.draws(10).mean() for p in planned.pieces) == pytest.approx(whole_g - dust, rel=1e-9)
        assert sum(p.gold_mg.draws(10).mean() for p in planned.pieces) == pytest.approx(whole_mg, rel=1e-9)


def test_trimmed_contacts_hold_what_the_geometry_says() -> None:
    # a strip of contacts 72 % covered at 30 µin, on 0.30 g/cm² of board: 3.5 g of gold to the kilogram (computed from
    # 1.4707 mg/cm² at 30 µin; the trade's figure for trimmed contacts lies about it, common practice, no source)
    cells = (200, 40)
    gold = np.zeros(cells)
    gold[:, -16:] = 0.72
    board = board_of((100, 20), gold, 1.4707e-2, known("density", 0.30e-2, "g/mm2"))
    planned = plan_board(board, CutRules(LongestPiece(120), clearance_mm=0.0, most_lost=0.0))
    (kept,) = (p for p in planned.pieces if p.piece.kept)
    assert kept.piece.sides_mm == pytest.approx((100, 8), abs=0.6)
    grams_per_kilogram = kept.gold_mg.draws(10).mean() / kept.mass_g.draws(10).mean()
    assert grams_per_kilogram == pytest.approx(0.72 * 1.4707 / 0.30 * 8 / kept.piece.sides_mm[1], rel=1e-6)
    assert grams_per_kilogram == pytest.approx(3.5, rel=0.08)


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_the_template_has_the_paper_s_size_and_a_true_bar(paper: Paper, size_mm: tuple[float, float]) -> None:
    planned: PlannedBoard = plan_board(
        board_of((160, 25), ends((320, 50), 20), 1e-3, density_input(1.6)), CutRules(LongestPiece(170))
    )
    document = pypdfium2.PdfDocument(template_pdf([("Board 1", planned)], paper))
    try:
        assert np.array(document[0].get_size()) * 25.4 / 72 == pytest.approx(size_mm, rel=1e-4)
        picture = np.ascontiguousarray(document[0].render(scale=600 / 72).to_numpy()[..., :3])
    finally:
        document.close()
    per_mm = picture.shape[1] / size_mm[0]
    bar = np.flatnonzero(picture.max(axis=2)[round(BAR_TOP_MM * per_mm)] < 128)
    assert (bar[-1] - bar[0] + 1) / per_mm == pytest.approx(100, rel=2e-3)
