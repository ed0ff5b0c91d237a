"""Ask about places that the program is not sure of, and show them in a picture; answers are corrections."""

from __future__ import annotations

from pathlib import Path

import typer

from calibration.errors import UsageError
from grader.cli.output import err, write_whole
from grader.corrections import Confirmed, Correction, Corrections, LeftOut
from grader.measured_photo import MeasuredPhoto
from grader.report.unsure_picture import unsure_png
from grader.units import format_share

_ANSWERS: dict[str, type[Confirmed | LeftOut]] = {"y": Confirmed, "yes": Confirmed, "n": LeftOut, "no": LeftOut}
_SKIP = ("", "s", "skip")


def check_one_photo(photos: int, *, is_asked: bool) -> None:
    """Refuse to ask about several photos.

    Raises:
        UsageError: ``corrections-one-photo``.
    """
    if is_asked and photos != 1:
        raise UsageError(
            "corrections-one-photo", "Corrections belong to one photo.", "Give the corrected photo by itself."
        )


def ask_about(done: MeasuredPhoto, picture: Path) -> MeasuredPhoto:
    """The measurement with a person's answers; as it is if there is nothing to ask.

    Args:
        done: measured, perhaps with corrections already, which stay.
        picture: where the places are shown, PNG.

    Raises:
        UsageError: the picture cannot be written.
    """
    places = done.record.unsure
    if not places:
        err.print("No place is in doubt: there is nothing to ask.")
        return done
    write_whole(picture, unsure_png(done.measurement, [place.box_px for place in places]))
    err.print(f"Look at {picture}: it shows what may or may not be gold.", markup=False)
    answers = [
        answer
        for number, place in enumerate(places, 1)
        if (answer := _asked(number, len(places), place.share, place.at_px))
    ]
    if not answers:
        return done
    before = done.measurement.corrections
    return done.corrected(
        Corrections((*before.items, *answers), before.photo_sha256 or done.measurement.photo.sha256)
    )


def _asked(number: int, count: int, share: float, at_px: tuple[tuple[float, float], ...]) -> Correction | None:
    first, *others = at_px
    words = f"Place {number} of {count}, {format_share(share)} of what was found. Is this gold? (y)es, (n)o, (s)kip"
    while True:
        said = str(typer.prompt(words, default="s", err=True)).strip().casefold()
        if said in _SKIP:
            return None
        if said in _ANSWERS:
            return _ANSWERS[said](first, tuple(others))
