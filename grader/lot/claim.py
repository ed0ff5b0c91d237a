"""A person's description of a lot, from the page, the command line or a file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.kinds import DESIGNS, Designs, kind_named
from calibration.reading import FileKind, read_toml
from grader.lot.model import OTHER_FACES, PICKED, Lot, OtherFace, Part, Picked, Sight
from grader.lot.told import read_told
from grader.measured import Measured
from grader.units import parse_mass_g, range_ends, spelled_range
from grader.units.estimates import distribution_of, named

_FILE = FileKind(
    code="parts",
    what="a file of parts",
    most_bytes=1_000_000,
    fix='Write it as: [[part]] name = "modules", count = "30" (or mass = "5 kg"), and for each photo [[part.photo]] '
    'front = "a.jpg", back = "b.jpg", boards = 4, weighed = "72 g".',
)
_invalid = _FILE.invalid


@dataclass(frozen=True)
class SightText:
    """The boards in one photo as typed; photos by file name or sha256, empty text for anything not given.

    If their number is not given, it is estimated from the outlines, with its uncertainty.
    """

    front: str
    back: str = ""
    boards: int | None = None
    weighed: str = ""


@dataclass(frozen=True)
class PartText:
    """One part as typed; empty text for anything not given."""

    name: str
    photos: tuple[SightText, ...]
    count: str = ""
    mass: str = ""
    other_face: str = "left_out"
    kind: str = ""
    designs: str = ""
    picked: str = ""
    thickness: tuple[str, ...] = ()


def lot_of(parts: Sequence[PartText], measured: Sequence[Measured]) -> Lot:
    """Build the described lot from the measured photos.

    Raises:
        UsageError: ``photo-unknown``, ``photo-name-twice``, ``photo-without-part``, ``count-unreadable``,
            ``other-face-unknown``, as ``parse_mass_g``, or as ``Lot`` and its parts.
    """
    lot = Lot(tuple(_part(p, measured) for p in parts))
    used = {m.sha256 for p in lot.parts for m in p.photos}
    left = [m.photo for m in measured if m.sha256 not in used]
    if left:
        raise UsageError(
            "photo-without-part",
            f"No part uses the photo {', '.join(left)}.",
            "Say which part it shows, or leave its measurement out.",
        )
    return lot


def one_part(
    measured: Sequence[Measured],
    *,
    backs: Sequence[Measured] = (),
    boards: Sequence[int] = (),
    count: str = "",
    mass: str = "",
    weighed: Sequence[str] = (),
    other_face: str = "left_out",
    kind: str = "",
    designs: str = "",
    picked: str = "",
    thickness: Sequence[str] = (),
) -> Lot:
    """Build a lot of one part whose photos all show different boards.

    Args:
        measured: the photos of front faces.
        backs: photos of the other faces, one for each front, in the same order; empty if not taken.
        boards: number in each, in the same order; one number holds for all; counted by outline if left out.
        count: of boards in the lot.
        mass: stated mass of the lot.
        weighed: mass of the boards in each photo.
        other_face: what to assume about the backs.
        kind: of boards, "memory modules" or "do not know"; the kind used for measuring if left out.
        designs: "one" or "many".
        picked: who chose the boards in the photos: "seller", "blindly", "mine"; not known if left out.
        thickness: evidence of the plating: "stated 30 uin", "xrf 0.72 um", "strip 412 mg of 20 boards".

    Raises:
        UsageError: ``boards-per-photo``, ``backs-per-photo``, or as ``lot_of``.
    """
    if len(backs) not in (0, len(measured)):
        raise UsageError(
            "backs-per-photo",
            f"{len(backs)} photos of backs for {len(measured)} of fronts.",
            "Give one back for each front, in their order, or describe the lot in parts.",
        )

    def each(given: Sequence[Any], otherwise: Any, what: str) -> Sequence[Any]:
        if len(given) in (0, len(measured)):
            return given or [otherwise] * len(measured)
        if len(given) == 1 and what == "boards":
            return [given[0]] * len(measured)
        raise UsageError(
            "boards-per-photo",
            f"{len(given)} times {what} for {len(measured)} photos.",
            f"Give {what} once for each photo, in the same order.",
        )

    sights = tuple(
        SightText(m.sha256, back, n, w)
        for m, back, n, w in zip(
            measured,
            [b.sha256 for b in backs] or [""] * len(measured),
            each(boards, None, "boards"),
            each(weighed, "", "a mass"),
            strict=True,
        )
    )
    part = PartText("the boards", sights, count, mass, other_face, kind, designs, picked, tuple(thickness))
    return lot_of([part], [*measured, *backs])


def read_claim(path: Path) -> tuple[PartText, ...]:
    """Parts from a TOML file.

    Raises:
        DataFileError: the file cannot be read or an entry is invalid.
    """
    tables = read_toml(path, _FILE)
    _only(tables, {"part"}, path.name)
    return tuple(_part_text(t, path.name) for t in _tables(tables, "part", path.name))


def _part_text(table: Mapping[str, Any], name: str) -> PartText:
    _only(table, {"name", "count", "mass", "other_face", "photo", "kind", "designs", "picked", "thickness"}, name)
    photos = []
    for photo in _tables(table, "photo", name):
        _only(photo, {"front", "back", "boards", "weighed"}, name)
        boards = photo.get("boards")
        if boards is not None and (isinstance(boards, bool) or not isinstance(boards, int)):
            raise _invalid(name, "boards must be a whole number")
        photos.append(
            SightText(_text(photo, "front", name), _text(photo, "back", name), boards, _text(photo, "weighed", name))
        )
    count = table.get("count", "")
    return PartText(
        _text(table, "name", name) or "the boards",
        tuple(photos),
        str(count) if isinstance(count, int) and not isinstance(count, bool) else _text(table, "count", name),
        _text(table, "mass", name),
        _text(table, "other_face", name) or "left_out",
        _text(table, "kind", name),
        _text(table, "designs", name),
        _text(table, "picked", name),
        _texts(table, "thickness", name),
    )


def _tables(data: Mapping[str, Any], key: str, name: str) -> list[Mapping[str, Any]]:
    found = data.get(key, [])
    if not isinstance(found, list) or not found or not all(isinstance(t, Mapping) for t in found):
        raise _invalid(name, f"there is no [[{'part.photo' if key == 'photo' else key}]]")
    return found


def _text(table: Mapping[str, Any], key: str, name: str) -> str:
    value = table.get(key, "")
    if not isinstance(value, str):
        raise _invalid(name, f"{key} must be text in quotes")
    return value.strip()


def _texts(table: Mapping[str, Any], key: str, name: str) -> tuple[str, ...]:
    """One text, or several in a list."""
    given = table.get(key, [])
    several = given if isinstance(given, list) else [given]
    return tuple(_text({key: each}, key, name) for each in several)


def _only(table: Mapping[str, Any], known: set[str], name: str) -> None:
    unknown = sorted(set(table) - known)
    if unknown:
        raise _invalid(name, f"{', '.join(unknown)} is not known here (known: {', '.join(sorted(known))})")


def _part(text: PartText, measured: Sequence[Measured]) -> Part:
    def mass(given: str) -> float:
        return parse_mass_g(given)

    return Part(
        name=text.name,
        sights=tuple(
            Sight(
                front,
                _photo(s.back, measured) if s.back else None,
                front.likely_boards.value if s.boards is None else s.boards,
                named(f"{text.name}, mass of the boards in a photo", mass, s.weighed) if s.weighed else None,
                front.likely_boards if s.boards is None else None,
            )
            for s, front in ((s, _photo(s.front, measured)) for s in text.photos)
        ),
        count=named(text.name, _count, text.count) if text.count else None,
        mass_g=named(f"{text.name}, stated mass", _mass, text.mass) if text.mass else None,
        other_face=_other_face(text.other_face),
        kind=kind_named(text.kind) if text.kind.strip() else None,
        designs=_designs(text.designs),
        picked=_picked(text.picked),
        evidence=tuple(map(read_told, text.thickness)),
    )


def _photo(given: str, measured: Sequence[Measured]) -> Measured:
    found = [m for m in measured if given == m.sha256] or [m for m in measured if given == m.photo]
    if not found:
        raise UsageError(
            "photo-unknown",
            f"There is no measurement of a photo '{given}'.",
            f"There are measurements of: {', '.join(m.photo for m in measured)}.",
        )
    if len(found) > 1:
        raise UsageError(
            "photo-name-twice", f"Two photos are named '{given}'.", "Name them by their sha256, or rename one."
        )
    return found[0]


def _count(text: str) -> Distribution:
    """A number of boards, "30", "28..30..34", "3-4" or "about 30"."""
    try:
        values = [float(int(part.strip())) for part in range_ends(spelled_range(text, whole=True).strip())]
    except (ValueError, OverflowError) as error:
        raise UsageError(
            "count-unreadable",
            f"'{text}' is not a number of boards.",
            "Write 30; 28..32 or about 30 if you are not sure.",
        ) from error
    return distribution_of(values, text)


def _mass(text: str) -> Distribution:
    """A mass in g, "5 kg", "4.5..5 kg", "4-5 kg" or "about 5 kg"."""
    return distribution_of([parse_mass_g(part) for part in range_ends(spelled_range(text))], text)


def amount_texts(text: str) -> tuple[str, str]:
    """Split an amount into a count and a mass as text, one of them empty.

    "30", "28..32 boards" and "about 30 pcs" are counts, "3 kg" and "4-5 lb" masses.

    Raises:
        UsageError: ``count-unreadable``, or as ``parse_mass_g`` and ``distribution_of``.
    """
    said = text.strip()
    if not said:
        return "", ""
    counted = _COUNTED.sub("", said).strip()
    if counted != said or _WHOLE.fullmatch(spelled_range(counted, whole=True)):
        _count(counted)
        return counted, ""
    _mass(said)
    return "", said


_COUNTED = re.compile(r"\s*\b(?:boards?|cards?|modules?|sticks?|pieces?|pcs?\.?|units?|items?)$", re.IGNORECASE)
_WHOLE = re.compile(r"\s*\d+\s*(?:(?:\.{2,}|…)\s*\d+\s*)*")


def _other_face(text: str) -> OtherFace:
    for face in OTHER_FACES:
        if text.replace(" ", "_") == face:
            return face
    raise UsageError(
        "other-face-unknown", f"'{text}' is not a valid value for the other face.", "Write alike, or left out."
    )


def _designs(text: str) -> Designs:
    word = text.casefold().strip()
    for designs in DESIGNS:
        if word in (designs, f"{designs} design", f"{designs} designs") or (not word and designs == "one"):
            return designs
    raise UsageError("designs-unknown", f"'{text}' is not a number of designs.", "Write one, or many.")


def _picked(text: str) -> Picked:
    word = text.casefold().strip().replace(" ", "_")
    for picked in PICKED:
        if word == picked or (not word and picked == "not_said"):
            return picked
    raise UsageError(
        "picked-unknown", f"'{text}' does not say who chose the boards.", "Write seller, blindly, mine, or not said."
    )
