"""Where to cut a board so that bare board does not go into the beaker."""

from grader.cut.board import CutBoard, cut_board
from grader.cut.choose import PlannedBoard, PlannedPiece, plan_measurement
from grader.cut.grid import BoardGrid
from grader.cut.plan import Cut, Piece, Plan, plan_cuts
from grader.cut.rules import CutRules, LongestPiece, Vessel

__all__ = [
    "BoardGrid",
    "Cut",
    "CutBoard",
    "CutRules",
    "LongestPiece",
    "Piece",
    "Plan",
    "PlannedBoard",
    "PlannedPiece",
    "Vessel",
    "cut_board",
    "plan_cuts",
    "plan_measurement",
]
