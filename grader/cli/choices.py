"""The scale options of ``grader measure``, from text to a choice."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import DataFileError, UsageError
from calibration.target import TargetDescription, parse_target
from grader.measure import Automatic, ByLength, ByPitch, ByRectangle, ByTarget, Point, ScaleChoice, WithoutScale
from grader.units import parse_length_mm, parse_pair_mm

# The options themselves, as every command that measures takes them.
TargetOption = Annotated[Path | None, typer.Option(help="Scale from the ChArUco sheet that this JSON describes.")]
LengthOption = Annotated[str | None, typer.Option(help="Scale from a known length: '133.35 mm'.")]
StartOption = Annotated[str | None, typer.Option("--from", help="One end of the known length, X,Y in pixels.")]
EndOption = Annotated[str | None, typer.Option("--to", help="Its other end.")]
RectangleOption = Annotated[str | None, typer.Option(help="Scale from a known rectangle: '133.35 x 31.25 mm'.")]
CornersOption = Annotated[
    tuple[str, str, str, str] | None,
    typer.Option(help="Its corners going round, four times X,Y; the first edge is the first length."),
]
PitchOption = Annotated[
    str | None, typer.Option(help="Scale from the pitch of the longest row of contacts: '1.27 mm'.")
]
ThicknessOption = Annotated[str | None, typer.Option(help="Thickness of the boards: '1.6 mm'.")]

_WAYS = "Use one of --target, --length with --from and --to, --rectangle with --corners, --pitch, --no-scale."


def choose_scale(
    *,
    target: Path | None,
    length: str | None,
    start: str | None,
    end: str | None,
    rectangle: str | None,
    corners: tuple[str, str, str, str] | None,
    pitch: str | None,
    no_scale: bool,
) -> ScaleChoice:
    """The one choice that the options make.

    Raises:
        UsageError: several, or one that lacks its points, or a value that cannot be read.
    """
    given = [target is not None, length is not None, rectangle is not None, pitch is not None, no_scale]
    if sum(given) > 1:
        raise UsageError("scale-twice", "Several ways to scale were given.", _WAYS)
    if (start is not None or end is not None) and length is None:
        raise UsageError("length-missing", "--from and --to belong to --length.", 'Add --length "133.35 mm".')
    if corners is not None and rectangle is None:
        raise UsageError(
            "rectangle-missing", "--corners belong to --rectangle.", 'Add --rectangle "85.6 x 53.98 mm".'
        )
    if target is not None:
        return ByTarget(read_target(target))
    if length is not None:
        if start is None or end is None:
            raise UsageError(
                "points-missing", "A known length needs its two ends.", "Add --from X,Y and --to X,Y in pixels."
            )
        return ByLength(parse_length_mm(length), parse_point(start), parse_point(end))
    if rectangle is not None:
        if corners is None:
            raise UsageError(
                "corners-missing", "A known rectangle needs its four corners.", "Add --corners X,Y X,Y X,Y X,Y."
            )
        a, b, c, d = (parse_point(text) for text in corners)
        return ByRectangle(parse_pair_mm(rectangle), (a, b, c, d))
    if pitch is not None:
        return ByPitch(parse_length_mm(pitch))
    return WithoutScale() if no_scale else Automatic()


def parse_point(text: str) -> Point:
    """Two numbers with a comma between, in pixels.

    Raises:
        UsageError: anything else.
    """
    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        x = y = math.nan
    if not (math.isfinite(x) and math.isfinite(y)):
        raise UsageError("point-invalid", f"'{text}' is no point.", "Write it as X,Y in pixels: 1548.2,1352.8.")
    return x, y


def read_target(path: Path) -> TargetDescription:
    """A target's description from its file.

    Raises:
        DataFileError: the file cannot be read, or does not describe a target.
    """
    try:
        return parse_target(path.read_bytes())
    except OSError as error:
        raise DataFileError(
            "target-file-unreadable",
            f"{path} cannot be read ({error.strerror}).",
            "Check the path to the target's file.",
        ) from error
