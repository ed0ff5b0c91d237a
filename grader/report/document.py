"""A measurement as a JSON document."""

from __future__ import annotations

from typing import Any

from grader.measured import SCHEMA, VISIBLE_ONLY, Measured
from grader.pipeline import Measurement

__all__ = ["SCHEMA", "VISIBLE_ONLY", "measurement_document"]


def measurement_document(measurement: Measurement) -> dict[str, Any]:
    """The document of one photo."""
    return Measured.of(measurement).to_dict()
