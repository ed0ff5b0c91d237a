"""Cautions as data: what is shown wherever steps, amounts or pieces for the process show."""

from grader.cautions.load import Caution, Limit, cautions_for, documents_for, exposure_limits, lines_for

__all__ = ["Caution", "Limit", "cautions_for", "documents_for", "exposure_limits", "lines_for"]
