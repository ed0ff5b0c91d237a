"""What is known of a finish: plating thickness, density and gold fraction, as uncertain inputs.

The priors stand in ``calibration/data/thickness.toml`` and ``gold_properties.toml``, each with its reasons. A belief
learned from weighed yields takes the place of a thickness prior by way of ``gold_properties(override)``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.errors import UsageError
from calibration.finishes import FINISHES, Finish
from calibration.inputs import Input
from calibration.sourced import load_inputs

THICKNESS = "thickness"  # kind of the inputs that say how thick plating is, in um

__all__ = ["FINISHES", "THICKNESS", "Finish", "GoldProperties", "gold_properties", "thickness_prior"]


@dataclass(frozen=True)
class GoldProperties:
    """All that turns a plated area of one finish into a mass of gold.

    Attributes:
        thickness: of the plating, in um.
        density: of the plating, in g/cm3.
        gold_fraction: gold in the plating by mass, 0..1.

    Raises:
        UsageError: an input has another unit.
    """

    thickness: Input
    density: Input
    gold_fraction: Input

    def __post_init__(self) -> None:
        for given, unit in ((self.thickness, "um"), (self.density, "g/cm3"), (self.gold_fraction, "")):
            if given.unit != unit:
                raise UsageError(
                    "property-unit",
                    f"'{given.name}' is in '{given.unit}', not in '{unit}'.",
                    "Convert it before it is used as a property of the plating.",
                )

    def inputs(self) -> tuple[Input, Input, Input]:
        """Thickness, density and gold fraction."""
        return self.thickness, self.density, self.gold_fraction


def thickness_prior(finish: Finish) -> Input:
    """Plating thickness of a finish in um, before any yield was weighed."""
    return load_inputs("thickness")[f"{THICKNESS}:{finish}"]


def gold_properties(override: Mapping[Finish, Input] | None = None) -> dict[Finish, GoldProperties]:
    """Properties of every finish.

    Args:
        override: thickness in um to use instead of the prior, for some finishes; its name decides with what it is
            shared.

    Raises:
        UsageError: a thickness that is not in um, or for a finish that does not exist.
    """
    override = override or {}
    unknown = set(override) - set(FINISHES)
    if unknown:
        raise UsageError(
            "finish-unknown", f"There is no finish {sorted(unknown)}.", f"Use one of {', '.join(FINISHES)}."
        )
    data = load_inputs("gold_properties")
    return {
        finish: GoldProperties(
            override[finish] if finish in override else thickness_prior(finish),
            data[f"density:{finish}"],
            data[f"gold_fraction:{finish}"],
        )
        for finish in FINISHES
    }
