"""Read a person's evidence of a lot's plating: "stated 30 uin", "xrf 0.72 ± 0.05 um", "strip 412 mg of 20 boards"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from calibration.errors import UsageError
from grader.units import parse_mass_g, parse_thickness_um

_MG_PER_G = 1000.0
_STATED = ("stated", "states", "specified", "spec", "specification")
_READ = ("xrf", "read", "reading", "measured")
_STRIPPED = ("strip", "stripped", "test strip")
_STRIP = re.compile(r"(?P<mass>.+?)\s+(?:of|from)\s+(?P<boards>\d+)(?:\s+boards?)?$", re.IGNORECASE)
_ERROR = re.compile(r"\s*(?:±|\+-|\+/-)\s*")
FIX = "Write stated 30 uin, xrf 0.72 ± 0.05 um, or strip 412 mg of 20 boards."


@dataclass(frozen=True)
class Told:
    """One parsed text.

    Attributes:
        text: as written.
        how: stated by the seller, read by an instrument, or weighed from a few boards.
        thickness_um: stated or read; None for a strip.
        sd_um: standard uncertainty of a reading, None if none is given.
        mass_mg: fine gold from a test strip; otherwise None.
        boards: number stripped.
    """

    text: str
    how: Literal["stated", "read", "stripped"]
    thickness_um: float | None = None
    sd_um: float | None = None
    mass_mg: float | None = None
    boards: int = 0


def read_told(text: str) -> Told:
    """Parse evidence of the plating.

    Raises:
        UsageError: ``evidence-unreadable``, or a figure without a unit and the like.
    """
    word, _, rest = " ".join(text.split()).partition(" ")
    how = word.casefold().rstrip(":")
    if how == "test" and rest.casefold().startswith("strip "):
        how, rest = "strip", rest.partition(" ")[2]
    if how in _STATED and rest:
        return Told(text, "stated", thickness_um=parse_thickness_um(rest))
    if how in _READ and rest:
        middle, *error = _ERROR.split(rest)
        if len(error) > 1:
            raise _unreadable(text)
        # the unit may be written once: 0.72 ± 0.05 um
        unit = re.sub(r"[\d.,\s]+", "", error[0]) if error else ""
        if error and not re.search(r"[^\d.,\s]", middle):
            middle = f"{middle} {unit}"
        return Told(
            text,
            "read",
            thickness_um=parse_thickness_um(middle),
            sd_um=parse_thickness_um(error[0]) if error else None,
        )
    strip = _STRIP.match(rest) if how in _STRIPPED else None
    if strip is None or int(strip["boards"]) < 1:
        raise _unreadable(text)
    return Told(text, "stripped", mass_mg=parse_mass_g(strip["mass"]) * _MG_PER_G, boards=int(strip["boards"]))


def _unreadable(text: str) -> UsageError:
    return UsageError("evidence-unreadable", f"'{text}' cannot be read as something known of the plating.", FIX)
