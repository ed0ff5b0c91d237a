"""A person's corrections of a listing's sheet: looks that are at the same board, and looks that are not.

A look is named by the first characters of its photo's sha256 and a point within it, so that a correction still holds
when files are renamed, or when boards are found in slightly different places.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from calibration.errors import DataFileError
from calibration.packaged import toml_of
from calibration.reading import FileKind, json_of

Word = Literal["same", "backs", "apart", "none", "board"]
WORDS: tuple[Word, ...] = get_args(Word)
OF_ONE: frozenset[Word] = frozenset({"none", "board"})
LISTING_FILE = FileKind(
    code="listing-corrections",
    what="corrections of a listing",
    most_bytes=1_000_000,
    fix='Write it as: [[sayings]] say = "same" (or "backs", "apart"), one = ["1a2b3c4d", 310, 225], '
    'other = ["front.jpg", 80, 91]: the photo and a point on the board, in pixels. '
    'What is no board: say = "none" with one alone; the opposite: say = "board".',
)


@dataclass(frozen=True)
class PhotoPoint:
    """A point in a photo, on a board.

    Attributes:
        photo: the beginning of its sha256, or its name.
        at_px: (x, y) in the upright photo.
    """

    photo: str
    at_px: tuple[float, float]


@dataclass(frozen=True)
class Saying:
    """One correction.

    Attributes:
        word: ``same`` face of one board, its two faces (``backs``), or two boards (``apart``); of a single look, that
            it is at no board (``none``), or at one (``board``).
        one: a look.
        other: another look; None where the correction is about a single look.
    """

    word: Word
    one: PhotoPoint
    other: PhotoPoint | None = None

    def as_json(self) -> dict[str, Any]:
        """The form in a file."""
        other = {} if self.other is None else {"other": _spot_json(self.other)}
        return {"say": self.word, "one": _spot_json(self.one), **other}


@dataclass(frozen=True)
class ListingCorrections:
    """All corrections of one listing.

    Attributes:
        sayings: in the order in which they were made; of two that disagree, the last counts.
        without: photos to leave out, by the beginning of their sha256 or their name.
    """

    sayings: tuple[Saying, ...] = ()
    without: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The form that ``parse_listing_corrections`` reads back."""
        return {"listing": 1, "sayings": [s.as_json() for s in self.sayings], "without": list(self.without)}


NOTHING = ListingCorrections()


def parse_listing_corrections(text: str | bytes, source: str = "the corrections") -> ListingCorrections:
    """From JSON or TOML: ``[[sayings]] say = "same"``, ``one = ["a1b2c3d4", 120, 80]``, ``other = […]``.

    Args:
        text: text of the file.
        source: its name in messages.

    Raises:
        DataFileError: ``listing-corrections-invalid``.
    """
    raw = text.encode() if isinstance(text, str) else text
    data = _data(raw, source)
    sayings = data.get("sayings", [])
    without = data.get("without", [])
    if not isinstance(sayings, Sequence) or not isinstance(without, Sequence) or isinstance(without, str):
        raise _invalid(source, "sayings and without must be lists")
    if not all(isinstance(each, str) for each in without):
        raise _invalid(source, "without must hold names of photos")
    return ListingCorrections(tuple(_saying(each, source) for each in sayings), tuple(without))


def _data(raw: bytes, source: str) -> Mapping[str, Any]:
    try:
        text = raw.decode("utf-8")
        data = json_of(text) if text.lstrip().startswith("{") else toml_of(text)
    except ValueError as error:
        raise _invalid(source, "neither JSON nor TOML") from error
    if not isinstance(data, Mapping):
        raise _invalid(source, "no table")
    return data


def _saying(data: object, source: str) -> Saying:
    if not isinstance(data, Mapping) or data.get("say") not in WORDS:
        raise _invalid(source, f"each saying needs say = one of {', '.join(WORDS)}")
    word: Word = next(w for w in WORDS if w == data["say"])
    one = _spot(data.get("one"), source)
    return Saying(word, one) if word in OF_ONE else Saying(word, one, _spot(data.get("other"), source))


def _spot(data: object, source: str) -> PhotoPoint:
    match data:
        case [str(photo), int() | float() as x, int() | float() as y] if not isinstance(x, bool) and len(photo) > 0:
            return PhotoPoint(photo, (float(x), float(y)))
    raise _invalid(source, "one and other must be [photo, x, y]")


def _spot_json(spot: PhotoPoint) -> list[Any]:
    return [spot.photo, *(round(v, 1) for v in spot.at_px)]


def _invalid(source: str, why: str) -> DataFileError:
    return LISTING_FILE.invalid(source, why)
