"""Cautions as data: what is shown wherever steps, amounts or pieces for the process show."""

from grader.cautions.load import Caution, cautions_for, documents_for, lines_for

__all__ = ["Caution", "cautions_for", "documents_for", "lines_for"]
