"""The record of one photo's measurement, and its JSON."""

from grader.measured.parts import (
    BudgetShare,
    Change,
    EdgeRow,
    MadeCorrections,
    MeasuredBoard,
    MeasuredFinish,
    MeasuredModel,
    MeasuredRow,
    MeasuredScale,
    PhotoCheck,
)
from grader.measured.reading import documents_in, measurements_of, read_measurements, usable
from grader.measured.record import SCHEMA, VISIBLE_ONLY, Measured, schema_json

__all__ = [
    "SCHEMA",
    "VISIBLE_ONLY",
    "BudgetShare",
    "Change",
    "EdgeRow",
    "MadeCorrections",
    "Measured",
    "MeasuredBoard",
    "MeasuredFinish",
    "MeasuredModel",
    "MeasuredRow",
    "MeasuredScale",
    "PhotoCheck",
    "documents_in",
    "measurements_of",
    "read_measurements",
    "schema_json",
    "usable",
]
