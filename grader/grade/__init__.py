"""Which boards are worth the acid: ranked, sorted, and no more sure of their order than the ranges allow."""

from grader.grade.candidates import candidates_of, measured_candidates, with_weight
from grader.grade.charge import charge_to_process
from grader.grade.model import CLASSES, Candidate, Class, Graded, GradedPart, Grades, Measure
from grader.grade.rank import grade_boards
from grader.grade.thresholds import Thresholds, example_thresholds_text, load_thresholds, with_thresholds

__all__ = [
    "CLASSES",
    "Candidate",
    "Class",
    "Graded",
    "GradedPart",
    "Grades",
    "Measure",
    "Thresholds",
    "candidates_of",
    "charge_to_process",
    "example_thresholds_text",
    "grade_boards",
    "load_thresholds",
    "measured_candidates",
    "with_thresholds",
    "with_weight",
]
