"""Gold as weighed at the end, and its fineness."""

from __future__ import annotations

import re
from decimal import Decimal

from calibration.errors import UnitError
from grader.units.numbers import parse_share
from grader.units.quantities import parse_mass_g


def parse_weighed_mg(text: str) -> float:
    """A weighed mass of gold in mg from "1.25 g", "8 dwt"; zero is a yield like any other.

    Raises:
        UnitError: as ``parse_mass_g`` for precious metals, but for zero.
    """
    try:
        return parse_mass_g(text, precious=True) * 1e3
    except UnitError as error:
        if error.code == "value-zero":
            return 0.0
        raise


def parse_fineness(text: str) -> float:
    """A share of gold as the trade writes it: per mille ("995"), a share of one ("0.995"), in per cent, or in carats.

    Carats are parts in 24: "22 kt", "18 ct", "14k", "9 karat".

    Raises:
        UnitError: ``fineness-unreadable``, or as ``parse_share``.
    """
    stripped = text.strip()
    if re.fullmatch(r"[1-9][0-9]{2,3}(\.[0-9]+)?", stripped):
        return float(Decimal(stripped) / 1000)
    if re.fullmatch(r"[01]?\.[0-9]+", stripped):
        return float(stripped)
    if stripped.endswith("%"):
        return parse_share(stripped)
    carats = re.fullmatch(r"([0-9]{1,2}(?:\.[0-9]+)?)\s*(?:k|kt|ct|karats?|carats?)\.?", stripped, re.IGNORECASE)
    if carats and 0 < Decimal(carats[1]) <= 24:
        return float(Decimal(carats[1]) / 24)
    raise UnitError("fineness-unreadable", f"'{text}' is not a fineness.", "Write 995, 0.995, 99.5 % or 22 kt.")
