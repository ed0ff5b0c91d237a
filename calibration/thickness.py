"""Properties of a finish: plating thickness, density and gold fraction, as uncertain inputs.

The priors are in ``calibration/data/thickness.toml`` and ``gold_properties.toml``, each with its reasons; those of
edge contacts, by kind of boards, are in ``board_kinds.toml``. A belief learned from weighed yields replaces a
thickness prior through ``gold_properties(override)``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calibration.errors import UsageError
from calibration.finishes import FINISHES, HARD_GOLD, Finish
from calibration.inputs import Input
from calibration.kinds import UNKNOWN, Designs, KindKey, board_kind
from calibration.sourced import load_inputs

THICKNESS = "thickness"  # kind of the inputs for the thickness of plating, in um
FLASH = "flash-share"  # kind of the inputs that say whether it is flash gold

__all__ = [
    "FINISHES",
    "FLASH",
    "THICKNESS",
    "Finish",
    "GoldProperties",
    "contact_plating",
    "gold_properties",
    "thickness_prior",
]


@dataclass(frozen=True)
class GoldProperties:
    """Everything that turns a plated area of one finish into a mass of gold.

    Attributes:
        thickness: of the plating, in um.
        density: of the plating, in g/cm3.
        gold_fraction: gold in the plating by mass, 0..1.
        flash: share of the plating that is flash gold, 0..1, drawn together with the thickness, which already
            includes it; None if it is not distinguished.

    Raises:
        UsageError: an input has another unit.
    """

    thickness: Input
    density: Input
    gold_fraction: Input
    flash: Input | None = None

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

    def all_inputs(self) -> tuple[Input, ...]:
        """These, and the share of flash gold if it is distinguished."""
        return (*self.inputs(), *(() if self.flash is None else (self.flash,)))


def thickness_prior(finish: Finish) -> Input:
    """Plating thickness of a finish in um, before any yield was weighed, on boards of a kind that nobody named."""
    return contact_plating()[0] if finish == HARD_GOLD else load_inputs("thickness")[f"{THICKNESS}:{finish}"]


def contact_plating(kind: KindKey = UNKNOWN, designs: Designs = "one") -> tuple[Input, Input]:
    """Thickness of the contacts of a kind's boards in um, and their share of flash gold: drawn together.

    Raises:
        UsageError: ``kind-unknown``.
    """
    known = board_kind(kind)
    plating = known.plating(designs)
    of = (HARD_GOLD, *(() if kind == UNKNOWN else (kind,)), *(() if designs == "one" else ("many designs",)))
    about = "" if kind == UNKNOWN else f" of {known.words}"
    return (
        Input(
            THICKNESS,
            f"gold thickness on edge contacts{about}",
            plating.thickness,
            known.source,
            "um",
            of,
            aligned_over=THICKNESS,
        ),
        Input(FLASH, f"flash gold on edge contacts{about}", plating.flash, known.source, "", of, aligned_over=FLASH),
    )


def gold_properties(
    override: Mapping[Finish, Input] | None = None, kind: KindKey = UNKNOWN, designs: Designs = "one"
) -> dict[Finish, GoldProperties]:
    """Properties of every finish.

    Args:
        override: thickness in um to use instead of the prior, for some finishes; its name decides which draws it
            shares.
        kind: of boards, for the thickness of their contacts if that is not overridden.
        designs: "one" if all boards are plated alike, "many" if they are of many designs.

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
    contacts, flash = contact_plating(kind, designs)
    priors = {finish: contacts if finish == HARD_GOLD else thickness_prior(finish) for finish in FINISHES}
    return {
        finish: GoldProperties(
            override[finish] if finish in override else priors[finish],
            data[f"density:{finish}"],
            data[f"gold_fraction:{finish}"],
            flash if finish == HARD_GOLD and finish not in override else None,
        )
        for finish in FINISHES
    }
