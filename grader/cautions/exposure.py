"""Exposure limits of toxic gases, and the volume of air that thins a gas to one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal

from calibration.packaged import packaged_toml

Gas = Literal["HCl", "Cl2", "SO2", "NO2", "N2O"]


@dataclass(frozen=True)
class ExposureLimit:
    """One limit.

    Attributes:
        gas: formula.
        name: in words.
        ppm: parts of gas per million parts of air, by volume.
        kind: "TWA" (mean of a working day), "STEL" (mean of 15 minutes) or "ceiling" (at no time).
        body: whose limit it is.
        source: where it stands.
        how_known: as in ``calibration.sourced``.
    """

    gas: str
    name: str
    ppm: float
    kind: str
    body: str
    source: str
    how_known: str


@cache
def exposure_limits() -> tuple[ExposureLimit, ...]:
    """All limits."""
    return tuple(ExposureLimit(**entry) for entry in packaged_toml("grader.cautions", "exposure.toml")["limit"])


def strictest_limit(gas: Gas) -> ExposureLimit:
    """The lowest limit of a gas."""
    return min((limit for limit in exposure_limits() if limit.gas == gas), key=lambda limit: limit.ppm)
