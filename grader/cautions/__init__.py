"""Cautions as data: what is shown wherever steps, amounts or pieces for the process show; and exposure limits."""

from grader.cautions.exposure import ExposureLimit, Gas, exposure_limits, strictest_limit
from grader.cautions.load import Caution, Place, cautions_for, documents_for, lines_for, short_lines_for

__all__ = [
    "Caution",
    "ExposureLimit",
    "Gas",
    "Place",
    "cautions_for",
    "documents_for",
    "exposure_limits",
    "lines_for",
    "short_lines_for",
    "strictest_limit",
]
