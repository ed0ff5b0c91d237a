"""The options that say which faces of boards are seen and how they may be cut, for all commands that plan cuts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import RefusedError, UsageError
from calibration.files import is_there
from grader.cli.output import show_error
from grader.cli.photo_options import PhotoOptions
from grader.correct import Corrections
from grader.correct.measured import correct
from grader.corrections import NO_CORRECTIONS
from grader.cut import CutBoard, CutRules, LongestPiece, Turned, Vessel, cut_boards, join_faces
from grader.photo import load_photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.units import parse_length_mm, parse_pair_mm, parse_share

if TYPE_CHECKING:
    from grader.learn import Newest


@dataclass(frozen=True)
class CutSides:
    """A photo of boards, and the photo of their other faces if there is one."""

    front: Path
    back: Path | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """A measured photo and its boards, with the backs joined to them."""

    done: Measurement
    boards: tuple[CutBoard | RefusedError, ...]
    back: str | None = None


@dataclass(frozen=True)
class CutOptions(PhotoOptions):
    """The options about faces and cutting; None if not given."""

    back: Annotated[
        list[Path] | None,
        typer.Option(help="Photo of the other faces of the same boards: once for each photo, in the same order."),
    ] = None
    turned: Annotated[
        Turned | None,
        typer.Option(help="How each board was turned over in its place, for outlines that fit in more than one way."),
    ] = None
    vessel: Annotated[
        str,
        typer.Option(
            help="The vessel's inner diameter and height of liquid. Default: a 1 L beaker filled to 800 mL."
        ),
    ] = "100 x 100 mm"
    longest: Annotated[str | None, typer.Option(help="Longest piece, instead of a vessel: '120 mm'.")] = None
    may_lose: Annotated[str, typer.Option(help="Share of the gold that may be thrown away.")] = "0.5 %"
    kerf: Annotated[str, typer.Option(help="Width that a saw takes; 0 mm for a shear.")] = "0 mm"
    clearance: Annotated[
        str, typer.Option(help="Clearance between a cut and gold, on top of what the camera leaves uncertain.")
    ] = "0.5 mm"
    cost_per_gram: Annotated[
        float, typer.Option(min=0.0, help="What processing a gram of board costs, in any money; an example.")
    ] = 0.03
    cost_per_cut: Annotated[float, typer.Option(min=0.0, help="What a cut costs, in the same; an example.")] = 0.03
    through_contacts: Annotated[bool, typer.Option("--through-contacts", help="Let cuts pass through contacts.")] = (
        False
    )

    def rules(self) -> CutRules:
        """How boards may be cut.

        Raises:
            UsageError: a value that cannot be read, or that cannot be.
        """
        if self.longest is not None:
            fit: Vessel | LongestPiece = LongestPiece(parse_length_mm(self.longest))
        else:
            fit = Vessel(*parse_pair_mm(self.vessel), self.thickness_mm() or Vessel.thickness_mm)
        return CutRules(
            fit=fit,
            most_lost=parse_share(self.may_lose),
            kerf_mm=_length_or_none(self.kerf),
            clearance_mm=_length_or_none(self.clearance),
            cost_per_g=self.cost_per_gram,
            cost_per_cut=self.cost_per_cut,
            through="contacts" if self.through_contacts else "nothing",
        )

    def sides(self, fronts: Sequence[Path]) -> list[CutSides]:
        """Photos of fronts with those of their backs.

        Raises:
            UsageError: ``backs-count``, ``faces-same-photo``, ``turned-without-back``.
        """
        backs = self.back or []
        if not backs:
            if self.turned is not None:
                raise UsageError("turned-without-back", "--turned belongs to --back.", "Add --back BACK.jpg.")
            return [CutSides(front) for front in fronts]
        if len(backs) != len(fronts):
            raise UsageError(
                "backs-count",
                f"There are {len(fronts)} photos of fronts, but {len(backs)} of backs.",
                "Give --back once for each photo, in the same order. Plan boards photographed from "
                "one side only in a separate call.",
            )
        for front, back in zip(fronts, backs, strict=True):
            if is_there(front) and is_there(back) and front.samefile(back):
                raise UsageError(
                    "faces-same-photo",
                    f"{front} is given for both faces.",
                    "Give a photo of the other face (--back).",
                )
        return [CutSides(front, back) for front, back in zip(fronts, backs, strict=True)]

    def look(self, photos: Sequence[CutSides]) -> CutReader:
        """How each photo is looked at.

        Raises:
            UsageError: a value that cannot be read; there are corrections, but not just one photo of fronts.
            DataFileError: a file that was named cannot be read.
            LogError: the log that was named cannot be read.
        """
        by_hand = self.by_hand([sides.front for sides in photos])
        return CutReader(self.request(), self.turned, self.learned(), by_hand)


@dataclass(frozen=True, eq=False)
class CutReader:
    """How photos are looked at: measured, those of fronts corrected by hand, and their boards found."""

    request: Request
    turned: Turned | None
    learned: Newest | None
    by_hand: Corrections

    def at(self, sides: CutSides, part: str = "") -> Seen:
        """Measure a photo and its back, and find the boards; report a correction that meets nothing at once.

        Raises:
            PhotoError: a file is not a photo.
            RefusedError: a photo cannot carry the measurement.
            UsageError: the corrections belong to another photo.
        """
        request = self.request
        if self.learned is not None:
            request = replace(request, properties=self.learned.properties(part, ""))
        done, boards = _boards_of(sides.front, request, self.by_hand)
        for told in (n for n in done.notices if n.code == "correction-missed"):
            show_error(told, sides.front.name)
        if sides.back is None:
            return Seen(done, boards)
        _, backs = _boards_of(sides.back, request, NO_CORRECTIONS)
        return Seen(done, join_faces(boards, backs, self.turned), sides.back.name)


def _length_or_none(text: str) -> float:
    return 0.0 if text.strip() in {"0", "0 mm"} else parse_length_mm(text)


def _boards_of(
    path: Path, request: Request, by_hand: Corrections
) -> tuple[Measurement, tuple[CutBoard | RefusedError, ...]]:
    done = correct(measure(load_photo(path), request), by_hand)
    if done.refused is not None:
        raise type(done.refused).of(done.refused, f"{path.name}: {done.refused.message}")
    return done, cut_boards(done)
