"""Assumptions about boards that were not photographed or weighed (``data/lot_inputs.toml``)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from calibration.inputs import Input
from calibration.packaged import packaged_text
from calibration.sourced import parse_inputs


@cache
def lot_inputs() -> Mapping[str, Input]:
    """The inputs by name."""
    return parse_inputs(packaged_text("grader.lot", "data/lot_inputs.toml"), "lot_inputs")
