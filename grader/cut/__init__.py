"""Where to cut a board so that bare board does not go into the beaker."""

from grader.cut.board import CutBoard, CutFace
from grader.cut.cheapest import plan_cuts
from grader.cut.choose import PlannedBoard, PlannedPiece, plan_board, plan_boards
from grader.cut.faces import Turned, join_faces
from grader.cut.from_photo import cut_boards
from grader.cut.grid import BoardGrid
from grader.cut.plan import Cut, Piece, Plan
from grader.cut.rules import CutRules, LongestPiece, Vessel

__all__ = [
    "BoardGrid",
    "Cut",
    "CutBoard",
    "CutFace",
    "CutRules",
    "LongestPiece",
    "Piece",
    "Plan",
    "PlannedBoard",
    "PlannedPiece",
    "Turned",
    "Vessel",
    "cut_boards",
    "join_faces",
    "plan_board",
    "plan_boards",
    "plan_cuts",
]
