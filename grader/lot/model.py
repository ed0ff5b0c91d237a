"""A lot as described, and its estimate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.kinds import Designs, KindKey
from calibration.notices import Notice
from calibration.thickness import FLASH
from grader.board_count import BoardCount
from grader.choices import Choice
from grader.lot.observed import Observed
from grader.lot.told import Told
from grader.measured import Measured
from grader.model import ProductModel, Range
from grader.units import LotSize, in_digits

OtherFace = Literal["alike", "left_out"]
OTHER_FACES: tuple[OtherFace, ...] = get_args(OtherFace)
# Who chose the boards in the photos: the seller, somebody who did not look, the buyer; or nobody said.
Picked = Literal["seller", "blindly", "mine", "not_said"]
PICKED: tuple[Picked, ...] = get_args(Picked)


@dataclass(frozen=True)
class Sight:
    """Photographed boards of one part.

    Attributes:
        front: photo of one face.
        back: photo of the other face of the same boards, or None.
        boards: how many boards the photo shows, or most likely shows.
        weighed_g: mass of these boards together, g, or None.
        counted: distribution of their number from outlines; None if somebody counted them.

    Raises:
        UsageError: ``boards-invalid``, ``mass-invalid``.
    """

    front: Measured
    back: Measured | None = None
    boards: int = 1
    weighed_g: float | None = None
    counted: BoardCount | None = None

    def __post_init__(self) -> None:
        if self.boards < 1:
            raise UsageError(
                "boards-invalid", f"{self.front.photo} cannot show {self.boards} boards.", "Give 1 or more."
            )
        if self.weighed_g is not None and not self.weighed_g > 0:
            raise UsageError("mass-invalid", f"The boards in {self.front.photo} weigh nothing.", "Give their mass.")


@dataclass(frozen=True)
class Part:
    """One kind of board in the lot.

    Attributes:
        name: as the user calls it.
        sights: the boards of it that were photographed.
        count: number of boards of it in the lot, possibly a range.
        mass_g: their stated mass in g, likewise, instead of a count.
        other_face: what to assume about a face that no photo shows. Not used if some sight has a back.
        kind: sets the plating of its contacts; None for the kind used for measuring.
        designs: "one" where all its boards are plated alike, "many" where they are of many designs.
        picked: who chose the boards in the photos.
        evidence: statements and measurements of its plating.
        picking: gold on boards not shown ÷ on those that this seller chose to show, learned from weighed lots; None
            for the prior of any seller.
        earlier: boards of the same name that were seen in earlier lots, lot by lot.

    With neither count nor mass the part is the boards in the photos.

    Raises:
        UsageError: ``part-empty``, ``part-two-sizes``, ``count-below-seen``, ``mass-invalid``,
            ``weighed-in-part``.
    """

    name: str
    sights: tuple[Sight, ...]
    count: Distribution | None = None
    mass_g: Distribution | None = None
    other_face: OtherFace = "left_out"
    kind: KindKey | None = None
    designs: Designs = "one"
    picked: Picked = "blindly"
    evidence: tuple[Told, ...] = ()
    picking: Input | None = None
    earlier: tuple[tuple[Observed, ...], ...] = ()

    def __post_init__(self) -> None:
        if not self.sights:
            raise UsageError("part-empty", f"No photo shows {self.name}.", "Give at least one photo of each part.")
        if self.count is not None and self.mass_g is not None:
            raise UsageError(
                "part-two-sizes",
                f"{self.name}: both a count and a mass are given.",
                "Give the one that you trust more.",
            )
        least = sum(s.boards if s.counted is None else s.counted.chances[0][0] for s in self.sights)
        if self.count is not None and self.count.support[0] < least:
            raise UsageError(
                "count-below-seen",
                f"{self.name}: {least} boards were photographed, but only {in_digits(self.count.support[0], 6)} are "
                "said to be in the lot.",
                "Correct the count, or the number of boards in the photos.",
            )
        if self.mass_g is not None and not self.mass_g.support[0] > 0:
            raise UsageError("mass-invalid", f"{self.name}: the mass is not above zero.", "Give the stated mass.")
        if len({s.weighed_g is None for s in self.sights}) > 1:
            raise UsageError(
                "weighed-in-part",
                f"{self.name}: the boards of some photos were weighed, those of others not.",
                "Weigh the boards of all photos of this part, or leave the masses out.",
            )

    @property
    def boards_seen(self) -> int:
        """Number of boards photographed, known or most likely."""
        return sum(s.boards for s in self.sights)

    @property
    def photos(self) -> tuple[Measured, ...]:
        """All photos of it."""
        return tuple(m for s in self.sights for m in (s.front, s.back) if m is not None)


@dataclass(frozen=True)
class Lot:
    """All parts bought together.

    Raises:
        UsageError: ``measurements-none``, ``part-twice``, ``photo-twice``.
    """

    parts: tuple[Part, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise UsageError(
                "measurements-none",
                "The lot holds nothing.",
                "Give at least one part with a photo.",
                remedy="lot-empty",
            )
        names = [p.name for p in self.parts]
        for name in names:
            if names.count(name) > 1:
                raise UsageError("part-twice", f"There are two parts '{name}'.", "Give each part its own name.")
        photos = [m for p in self.parts for m in p.photos]
        hashes = [m.sha256 for m in photos]
        for m in photos:
            if hashes.count(m.sha256) > 1:
                raise UsageError("photo-twice", f"The photo {m.photo} is used twice.", "Use each photo once.")


@dataclass(frozen=True)
class PartEstimate:
    """The estimate for one part.

    Attributes:
        part: the part.
        gold_mg: gold in the plating of all its boards.
        mass_g: of all its boards; None without a scale or outline.
        boards: how many boards there are likely to be.
        spread: relative standard deviation of the gold between boards; None if all boards were seen.
        seen: how many boards were photographed.
        notices: what the user should know.
        choices: open questions about it with a few possible answers.
    """

    part: Part
    gold_mg: ProductModel
    mass_g: ProductModel | None
    boards: float
    spread: float | None
    notices: tuple[Notice, ...]
    seen: BoardCount
    choices: tuple[Choice, ...] = ()

    @property
    def flash_share(self) -> Range | None:
        """Share of its contacts that are flash gold (a chance if all are plated alike); None if unknown."""
        shares = [i.draws() for i in self.gold_mg.inputs.values() if i.kind == FLASH]
        if not shares:
            return None
        return Range(float(np.mean(shares)), *(float(q) for q in np.quantile(shares, [0.05, 0.95])))

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        part = self.part
        return {
            "name": part.name,
            "count": part.count.as_json() if part.count else None,
            "stated_mass_g": part.mass_g.as_json() if part.mass_g else None,
            "other_face": part.other_face,
            "kind": part.kind,
            "designs": part.designs,
            "picked": part.picked,
            "evidence": [told.text for told in part.evidence],
            "flash_share": None if self.flash_share is None else self.flash_share.as_json(),
            "boards": self.boards,
            "boards_seen": self.seen.value,
            "boards_seen_low": self.seen.low,
            "boards_seen_high": self.seen.high,
            "spread_between_boards": self.spread,
            "photos": [
                {
                    "front": s.front.photo,
                    "front_sha256": s.front.sha256,
                    "back": s.back.photo if s.back else None,
                    "back_sha256": s.back.sha256 if s.back else None,
                    "boards": s.boards,
                    "board_count": None if s.counted is None else s.counted.as_json(),
                    "weighed_g": s.weighed_g,
                }
                for s in part.sights
            ],
        }


@dataclass(frozen=True)
class LotEstimate:
    """The estimate for a lot.

    Attributes:
        parts: estimate of each part.
        gold_mg: their sum, with shared inputs.
        mass_g: likewise; None if the mass of some part is not known.
        notices: warnings of photos and parts, each once.
    """

    parts: tuple[PartEstimate, ...]
    gold_mg: ProductModel
    mass_g: ProductModel | None
    notices: tuple[Notice, ...]

    @property
    def choices(self) -> tuple[Choice, ...]:
        """Open questions about its parts with a few possible answers."""
        return tuple(c for p in self.parts for c in p.choices)

    @property
    def size(self) -> LotSize:
        """Its size, for prices by weight or per board."""
        mass_kg = None if self.mass_g is None else float(np.median(self.mass_g.draws())) * 1e-3
        return LotSize(mass_kg, sum(p.boards for p in self.parts))

    def as_json(self) -> list[dict[str, Any]]:
        """The form used in reports."""
        return [p.as_json() for p in self.parts]
