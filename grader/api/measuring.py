"""Measures one photo, by the keywords that say what is known of it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.errors import UsageError
from calibration.kinds import kind_named
from calibration.reading import read_bytes
from calibration.thickness import GoldProperties, gold_properties
from grader.api.kept import learned_properties, own_print_factor
from grader.corrections import CORRECTIONS_FILE, Corrections, parse_corrections
from grader.keywords import Points, checks_call, scale_choice, typed
from grader.measured_photo import MeasuredPhoto
from grader.model import Finish
from grader.photo import Photo, load_photo
from grader.pipeline import StepProgress
from grader.pipeline import measure as measure_photo
from grader.request import Request
from grader.units import parse_length_mm
from grader.units.estimates import named

if TYPE_CHECKING:
    from grader.log import Log


@checks_call
def measure(
    photo: str | Path | bytes | Photo,
    *,
    target: str | Path | None = None,
    length: str | None = None,
    between: Points | None = None,
    rectangle: str | None = None,
    corners: Points | None = None,
    coin: str | None = None,
    rim: Points | None = None,
    pitch: str | None = None,
    no_scale: bool = False,
    board_thickness: str | None = None,
    corrections: Corrections | str | Path | None = None,
    kind: str | None = None,
    part: str = "",
    seller: str = "",
    log: str | Path | Log | None = None,
    published: bool = False,
    print_check: str | Path | None = None,
    name: str | None = None,
    request: Request | None = None,
    progress: StepProgress | None = None,
) -> MeasuredPhoto:
    """Measure plated area and gold in one photo of boards.

    If no keyword gives the scale, it looks for our own printed target, then for contacts of a published
    outline. A photo without a scale still has its picture and its plated share;
    ``area`` and ``gold`` then raise the reason.

    Like the command line, it uses the thickness learned from the yields in your log, if there is one, and the
    measured check bar of your printed target. ``published=True`` measures without the log.

    Args:
        photo: a file, its bytes, or a photo from ``grader.load_photo``.
        target: the JSON file that describes a ChArUco sheet in the photo.
        length: a known length, "133.35 mm", or the name of an object, "DIMM", "US quarter".
        between: its two ends (x, y), px of the upright photo.
        rectangle: a known rectangle, "85.6 x 53.98 mm", or its name, "ID-1 card", "A4 sheet".
        corners: its four corners (x, y), going round; the first edge has the first length.
        coin: a coin's name, "2 euro", or a disc's diameter, "24.26 mm".
        rim: at least five points (x, y) around its rim.
        pitch: of the longest row of contacts, "1.27 mm", or the name of its outline, "PCI Express".
        no_scale: measure without a scale: shares of the frame only.
        board_thickness: of the boards, "1.6 mm"; typical boards if left out.
        corrections: made by hand, or the file that holds them.
        kind: of boards, which gives their plating unless yields taught it: "memory modules", "do not know".
        part: kind of boards as named in the log, to use what its yields taught.
        seller: who sells them, as named in the log.
        log: to learn thickness from: an open log, a file, or a PostgreSQL URL; the default log if left out.
        published: use published thickness instead of what yields taught.
        print_check: the file that stores the length of the check bar; the default file if left out.
        name: of the photo; the file's name if left out.
        request: all of the above except corrections and name, as a ``Request``.
        progress: called with "scale", "coverage", "regions" and "gold" as each step begins.

    Raises:
        PhotoError: no such file, or not a photo that can be trusted.
        UsageError: several ways to scale, a wrong unit, points outside the photo and so on;
            ``KeywordError`` for an unknown keyword.
        DataFileError: a given file cannot be read.
        LogError: the log exists but cannot be read.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> done = grader.measure(samples_folder() / "memory-modules.jpg")
        >>> done.area
        1... mm² (... to ... mm², 90 % sure)
        >>> done.gold.low < done.gold.median < done.gold.high, done.gold.unit
        (True, 'mg')
        >>> edge = [(431.1, 1137.2), (193.8, 344.3)]
        >>> grader.measure(samples_folder() / "listing-photo.jpg", length="133.35 mm", between=edge).px_per_mm
        6...
        >>> try:
        ...     grader.measure(samples_folder() / "listing-photo.jpg").gold
        ... except grader.GraderError as error:
        ...     print(error.code)
        no-scale
    """
    said = (target, length, between, rectangle, corners, coin, rim, pitch, board_thickness, log, print_check, kind)
    if request is None:
        request = Request(
            scale=scale_choice(
                target=target, length=length, between=between, rectangle=rectangle, corners=corners, coin=coin,
                rim=rim, pitch=pitch, no_scale=no_scale,
            ),
            board_thickness_mm=_length_mm("board_thickness", board_thickness),
            print_factor=own_print_factor(print_check),
            properties=(None if published else learned_properties(log, part, seller))
            or _of_kind(typed("kind", kind)),
        )  # fmt: skip
    elif any(x is not None for x in said) or no_scale or part or seller or published:
        raise UsageError(
            "request-twice",
            "Both a request and keywords that make one were given.",
            "Give request= alone, or the keywords.",
        )
    if not isinstance(photo, str | Path | bytes | Photo):
        raise UsageError(
            "photo-unknown-kind",
            f"A {type(photo).__name__} is not a photo.",
            "Give a file's path, its bytes, or what grader.load_photo gave.",
        )
    if corrections is not None and not isinstance(corrections, Corrections):
        corrections = parse_corrections(read_bytes(Path(corrections), CORRECTIONS_FILE))  # before long work
    loaded = photo if isinstance(photo, Photo) else load_photo(photo, name)
    done = MeasuredPhoto(measure_photo(loaded, request, progress))
    return done if corrections is None else done.corrected(corrections)


def _length_mm(name: str, given: str | None) -> float | None:
    text = typed(name, given)
    return None if text is None else named(name, parse_length_mm, text)


def _of_kind(kind: str | None) -> Mapping[Finish, GoldProperties] | None:
    return None if kind is None else gold_properties(kind=kind_named(kind))
