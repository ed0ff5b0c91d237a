"""What goes into the vessels: from measurements, a cut plan, or figures as typed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.distributions import Distribution
from calibration.errors import DataFileError, RefusedError, UsageError
from calibration.finishes import UNDETERMINED
from calibration.inputs import Input
from calibration.notices import Notice
from calibration.packaged import packaged_text
from calibration.sourced import parse_inputs
from grader.batch.figures import quantity
from grader.batch.model import Feed
from grader.batch.notices import notice
from grader.gold import gold_mass
from grader.lot import OtherFace
from grader.measured import Measured
from grader.model import EMPTY, ProductModel
from grader.units import in_digits, parse_area_mm2, parse_mass_g
from grader.units.weighed import parse_weighed_mg

_Z_90 = 1.6449  # half of a symmetric 90 % range in standard deviations of a normal


@dataclass(frozen=True)
class CutPieces:
    """The kept pieces of the boards in one photo, as a cut plan has them.

    Attributes:
        photo: its name.
        mass_g: of all kept pieces, with its range.
        heaviest_g: of them.
        share_of_gold: that they hold of the boards' gold, 0..1.
        gold_mg: that they hold, with its range.
    """

    photo: str
    mass_g: tuple[float, float, float]
    heaviest_g: float
    share_of_gold: float
    gold_mg: tuple[float, float, float]


def read_cut_plan(document: Mapping[str, Any]) -> CutPieces:
    """The kept pieces of a plan that ``grader cut --json`` wrote.

    Raises:
        DataFileError: ``cut-invalid``.
        UsageError: ``cut-incomplete``: a board could not be planned; ``cut-keeps-nothing``.
    """
    try:
        photo, boards = str(document["photo"]), list(document["boards"])
        if any("error" in board for board in boards):
            raise UsageError(
                "cut-incomplete",
                f"The cut plan of {photo} has boards that could not be planned.",
                "Cut them by eye, and weigh all the pieces that go in.",
            )
        pieces = [piece for board in boards for piece in board["pieces"]]
        kept = [p for p in pieces if p["kept"] is True]
        mass, gold = (sum_of_ranges([p[name] for p in kept]) for name in ("mass_g", "gold_mg"))
        all_gold = sum_of_ranges([p["gold_mg"] for p in pieces])[1]
        heaviest = max((float(p["mass_g"]["value"]) for p in kept), default=0.0)
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, UsageError):
            raise
        raise DataFileError("cut-invalid", "This is not a cut plan.", "Plan the cuts again.") from error
    if not kept or mass[1] <= 0:
        raise UsageError(
            "cut-keeps-nothing", f"The cut plan of {photo} keeps no pieces.", "Check the plan, or weigh the pieces."
        )
    return CutPieces(photo, mass, heaviest, gold[1] / all_gold if all_gold > 0 else 0.0, gold)


def sum_of_ranges(ranges: Sequence[Mapping[str, float]]) -> tuple[float, float, float]:
    """Low, value and high of a sum: pieces share scale and density, so that their ends add up."""
    low, value, high = (sum(float(r[end]) for r in ranges) for end in ("low", "value", "high"))
    if not all(math.isfinite(x) and x >= 0 for x in (value, high)) or not low <= value <= high:
        raise ValueError(low, value, high)
    return low, value, high


@dataclass(frozen=True)
class Given:
    """Figures as typed; each may be a range such as "60..90..120 mg", an empty text leaves it out.

    Attributes:
        mass: of all pieces that go in.
        gold: in the plating.
        plated_area: of all pieces.
        bare_copper: open copper beside the plating.
    """

    mass: str = ""
    gold: str = ""
    plated_area: str = ""
    bare_copper: str = ""


def charge_of(
    given: Given,
    measured: Sequence[Measured] = (),
    cut: Sequence[CutPieces] = (),
    *,
    copies: float = 1.0,
    other_face: OtherFace = "left_out",
) -> Feed:
    """What goes in, from all that is known; what is typed goes before what was measured.

    Args:
        given: typed, for everything that goes in together.
        measured: photos, each of other boards.
        cut: plans for these photos: only kept pieces go in.
        copies: how many times the photographed boards go in.
        other_face: what to make of faces that no photo shows.

    Raises:
        UsageError: ``copies-invalid``; ``cut-without-photo``; or as the texts.
        RefusedError: ``mass-unknown``, ``gold-unknown``, ``no-plated-area``.
    """
    if not (math.isfinite(copies) and copies > 0):
        raise UsageError(
            "copies-invalid",
            f"The photographed boards cannot go in {in_digits(copies, 6)} times.",
            "Give a number above 0.",
        )
    kept = _kept_shares(measured, cut)
    plated = _plated(given, measured, kept, copies, other_face)
    gold = _gold(given, measured, cut, kept, copies, other_face, plated)
    bare = (
        ProductModel.of(1.0, [quantity("bare-copper", "open copper", given.bare_copper, parse_area_mm2, "mm2")])
        if given.bare_copper
        else None
    )
    seen_only = bool(measured) and other_face == "left_out" and not given.plated_area
    notices: tuple[Notice, ...] = (notice("one-face-only"),) if seen_only else ()
    heaviest = max((c.heaviest_g for c in cut), default=None)
    return Feed(_mass(given, cut, copies), plated, gold, bare, heaviest, notices)


def _kept_shares(measured: Sequence[Measured], cut: Sequence[CutPieces]) -> dict[str, float]:
    """Share of each photo's gold that goes in, by the photo's name."""
    plans = {c.photo: c.share_of_gold for c in cut}
    photos = {m.photo for m in measured}
    if len(plans) < len(cut) or (measured and set(plans) - photos):
        raise UsageError(
            "cut-without-photo",
            "A cut plan belongs to none of the measured photos, or two plans to one.",
            "Give the measurement and the cut plan of the same photos.",
        )
    return {photo: plans.get(photo, 1.0) for photo in photos}


def _mass(given: Given, cut: Sequence[CutPieces], copies: float) -> ProductModel:
    if given.mass:
        return ProductModel.of(1.0, [quantity("mass", "mass of the pieces", given.mass, parse_mass_g, "g")])
    if not cut:
        raise RefusedError(
            "pieces-mass-unknown",
            "The weight of the pieces is not known.",
            "Weigh everything that goes in, or give the cut plan.",
        )
    return _from_ranges("mass", "mass of the kept pieces", [c.mass_g for c in cut], "g", copies)


def _plated(
    given: Given, measured: Sequence[Measured], kept: Mapping[str, float], copies: float, other_face: OtherFace
) -> ProductModel:
    if given.plated_area:
        known = quantity("plated-area", "plated area", given.plated_area, parse_area_mm2, "mm2")
        return ProductModel.of(1.0, [known])
    if not measured:
        raise RefusedError(
            "no-plated-area",
            "The plated area is not known; it decides how much copper and nickel dissolve.",
            "Measure photos of the boards, or give the plated area.",
        )
    total = EMPTY
    for m in measured:
        total += sum(m.areas.values(), EMPTY).times((), copies * kept[m.photo])
    return _both_faces(total, other_face)


def _gold(
    given: Given,
    measured: Sequence[Measured],
    cut: Sequence[CutPieces],
    kept: Mapping[str, float],
    copies: float,
    other_face: OtherFace,
    plated: ProductModel,
) -> ProductModel:
    if given.gold:
        return ProductModel.of(1.0, [quantity("gold", "gold in the plating", given.gold, parse_weighed_mg, "mg")])
    if measured:
        total = EMPTY
        for m in measured:
            total += m.gold.times((), copies * kept[m.photo])
        return _both_faces(total, other_face)
    if cut:
        seen = _from_ranges("gold", "gold on the kept pieces", [c.gold_mg for c in cut], "mg", copies)
        return _both_faces(seen, other_face)
    return gold_mass({UNDETERMINED: plated}).total


def _both_faces(model: ProductModel, other_face: OtherFace) -> ProductModel:
    return model + model.times((_other_face(),)) if other_face == "alike" else model


def _other_face() -> Input:
    text = packaged_text("grader.lot", "data/lot_inputs.toml")
    return parse_inputs(text, "lot_inputs")["other-face"]


def _from_ranges(
    of: str, title: str, ranges: Sequence[tuple[float, float, float]], unit: str, copies: float
) -> ProductModel:
    """A quantity from 90 % ranges: a lognormal of that median and width, for it is positive and known to a factor."""
    low, value, high = (sum(r[end] for r in ranges) for end in range(3))
    if value <= 0:
        return EMPTY
    known = Input("cut", title, lognormal_of(low, value, high), "the cut plan's 90 % range", unit, (of,))
    return ProductModel.of(copies, [known])


def lognormal_of(low: float, value: float, high: float) -> Distribution:
    """A lognormal from a median above zero and the ends of a 90 % range."""
    sigma = math.log(high / low) / (2 * _Z_90) if low > 0 else math.log(high / value) / _Z_90
    return Distribution("lognormal", (value, sigma))
