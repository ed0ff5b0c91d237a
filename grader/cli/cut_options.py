"""The options that say how boards may be cut, and photos turned into boards, for all commands that plan cuts."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import RefusedError, UsageError
from calibration.print_check import load_print_check
from grader.cut import CutBoard, CutRules, LongestPiece, Turned, Vessel, cut_boards, join_faces
from grader.measure import Measurement, Request, ScaleChoice, measure
from grader.photo import load_photo
from grader.places import print_check_path
from grader.units import parse_length_mm, parse_pair_mm, parse_share

VesselOption = Annotated[
    str, typer.Option(help="Vessel's inner diameter and height of liquid; left out, some 1 L beaker at 800 mL.")
]
LongestOption = Annotated[str | None, typer.Option(help="Instead of a vessel: longest piece, '120 mm'.")]
MayLoseOption = Annotated[str, typer.Option(help="Share of the gold that may be thrown away.")]
KerfOption = Annotated[str, typer.Option(help="Width that a saw takes; 0 mm for a shear.")]
ClearanceOption = Annotated[
    str, typer.Option(help="Between a cut and gold; what the camera leaves unsure comes on top.")
]
GramCostOption = Annotated[
    float, typer.Option(min=0.0, help="What processing a gram of board costs, in any money; an example.")
]
CutCostOption = Annotated[float, typer.Option(min=0.0, help="What a cut costs, in the same; an example.")]
ThroughOption = Annotated[bool, typer.Option("--through-contacts", help="Let cuts pass through contacts.")]
BackOption = Annotated[
    list[Path] | None,
    typer.Option(help="Photo of the other faces of the same boards; once for each photo, in their order."),
]
TurnedOption = Annotated[
    Turned | None,
    typer.Option(help="How each board was turned over in its place, for outlines that fit in more than one way."),
]
CheckBarOption = Annotated[
    Path | None, typer.Option(help="File that keeps the check bar's length; the usual one if left out.")
]
VESSEL, MAY_LOSE, NOTHING_MM, CLEARANCE = "100 x 100 mm", "0.5 %", "0 mm", "0.5 mm"
GRAM_COST, CUT_COST = 0.03, 0.03


@dataclass(frozen=True)
class Sides:
    """A photo of boards, and the photo of their other faces if there is one."""

    front: Path
    back: Path | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """A measured photo and its boards, with the backs joined to them."""

    done: Measurement
    boards: tuple[CutBoard | RefusedError, ...]
    back: str | None = None


def cut_rules(
    *,
    vessel: str,
    longest: str | None,
    may_lose: str,
    kerf: str,
    clearance: str,
    cost_per_gram: float,
    cost_per_cut: float,
    through_contacts: bool,
    thickness_mm: float | None,
) -> CutRules:
    """The rules that the options make.

    Raises:
        UsageError: a value that cannot be read, or that cannot be.
    """
    if longest is not None:
        fit: Vessel | LongestPiece = LongestPiece(parse_length_mm(longest))
    else:
        fit = Vessel(*parse_pair_mm(vessel), thickness_mm or Vessel.thickness_mm)
    return CutRules(
        fit=fit,
        most_lost=parse_share(may_lose),
        kerf_mm=_length_or_none(kerf),
        clearance_mm=_length_or_none(clearance),
        cost_per_g=cost_per_gram,
        cost_per_cut=cost_per_cut,
        through="contacts" if through_contacts else "nothing",
    )


def _length_or_none(text: str) -> float:
    return 0.0 if text.strip() in {"0", "0 mm"} else parse_length_mm(text)


def pair_sides(fronts: list[Path], backs: list[Path], turned: Turned | None) -> list[Sides]:
    """Photos of fronts with those of their backs.

    Raises:
        UsageError: ``backs-count``, ``faces-same-photo``, ``turned-without-back``.
    """
    if not backs:
        if turned is not None:
            raise UsageError("turned-without-back", "--turned belongs to --back.", "Add --back BACK.jpg.")
        return [Sides(front) for front in fronts]
    if len(backs) != len(fronts):
        raise UsageError(
            "backs-count",
            f"There are {len(fronts)} photos of fronts, but {len(backs)} of backs.",
            "Give --back once for each photo, in their order; take photos of one face alone in a call of their own.",
        )
    for front, back in zip(fronts, backs, strict=True):
        if front.exists() and back.exists() and front.samefile(back):
            raise UsageError(
                "faces-same-photo", f"{front} is given for both faces.", "Give a photo of the other face with --back."
            )
    return [Sides(front, back) for front, back in zip(fronts, backs, strict=True)]


def request_of(scale: ScaleChoice, thickness_mm: float | None, calibration: Path | None) -> Request:
    """How each photo is to be measured."""
    check = load_print_check(calibration if calibration is not None else print_check_path())
    return Request(
        scale=scale,
        board_thickness_mm=thickness_mm,
        print_factor=check.print_factor() if check is not None else None,
    )


def look_at(sides: Sides, request: Request, turned: Turned | None) -> Seen:
    """Measure a photo, and its back's, and find the boards.

    Raises:
        PhotoError: a file is no photo.
        RefusedError: a photo cannot carry the measurement.
    """
    done, boards = _boards_of(sides.front, request)
    if sides.back is None:
        return Seen(done, boards)
    return Seen(done, join_faces(boards, _boards_of(sides.back, request)[1], turned), sides.back.name)


def _boards_of(path: Path, request: Request) -> tuple[Measurement, tuple[CutBoard | RefusedError, ...]]:
    done = measure(load_photo(path), request)
    if done.refused is not None:
        raise type(done.refused)(done.refused.code, f"{path.name}: {done.refused.message}", done.refused.advice)
    return done, cut_boards(done, request.board_thickness_mm)
