"""The sheet of a lot: which of its photos show the same boards, as last computed, and a person's corrections.

The sheet lies beside the photos (``sheet.json``), so that it is there after a reload. Corrections are kept at once,
as steps in the lot; the sheet follows. It names its sources, so that an old sheet can be recognized.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.lots.lot_folder import LotFolder
from app.lots.shared_json import UNSOUND, loads, put_file
from calibration.errors import DataFileError
from grader.listing import (
    BoardLook,
    Listing,
    ListingCorrections,
    LotBoard,
    PhotoPoint,
    Saying,
    parse_listing_corrections,
)
from grader.listing.sheet import board_words, inner_point, look_jpeg, summary
from grader.measured import Measured

_WANTED, _STEPS, _UNDONE = "sheet", "sheet-steps", "sheet-undone"


@dataclass(frozen=True)
class SheetLook:
    """A look at a board.

    Attributes:
        spot: the words by which a correction names it.
        photo: name of its photo.
        face: front or back.
        is_best: whether its plating is used for that face.
        sure: chance that it is at this board.
        picture: JPEG.
    """

    spot: PhotoPoint
    photo: str
    face: str
    is_best: bool
    sure: float
    picture: bytes

    @property
    def key(self) -> str:
        """Name of the look in the page, independent of its board."""
        x, y = self.spot.at_px
        return f"{self.spot.photo}-{x:.0f}-{y:.0f}"


@dataclass(frozen=True)
class Records:
    """All boards of a lot, each once, as if three photos showed them.

    Attributes:
        fronts_with_backs: the fronts of boards whose backs were seen; None if there are none.
        backs: these backs.
        fronts: boards of which one face was seen; None if there are none.
    """

    fronts_with_backs: Measured | None
    backs: Measured | None
    fronts: Measured | None

    @property
    def each(self) -> tuple[Measured, ...]:
        """The records that exist."""
        return tuple(r for r in (self.fronts_with_backs, self.backs, self.fronts) if r is not None)


@dataclass(frozen=True)
class BoardSheet:
    """The boards of a lot, each once.

    Attributes:
        made_of: names the measurements and the steps from which it was computed.
        boards: the looks at each.
        words: description of each: plating, doubts.
        none: looks at things that are not boards.
        count: number of boards, in words.
        summary: count, plating and gold in a sentence.
        notices: cautions: message and advice.
        records: the boards as the basis of a lot.
    """

    made_of: str
    boards: tuple[tuple[SheetLook, ...], ...]
    words: tuple[str, ...]
    none: tuple[SheetLook, ...]
    count: str
    summary: str
    notices: tuple[tuple[str, str], ...]
    records: Records

    @staticmethod
    def of(listing: Listing, made_of: str) -> BoardSheet:
        """Make a sheet from the computed listing."""
        return BoardSheet(
            made_of,
            tuple(tuple(_look(listing, each) for each in board.looks) for board in listing.boards),
            tuple(_words(listing, n, board) for n, board in enumerate(listing.boards)),
            tuple(_look(listing, each) for each in listing.no_boards),
            listing.board_count.words(),
            summary(listing),
            tuple((n.message, n.advice) for n in listing.notices),
            Records(listing.fronts_with_backs, listing.backs, listing.fronts),
        )


def _words(listing: Listing, number: int, board: LotBoard) -> str:
    return "; ".join(board_words(listing, number, board))


def _look(listing: Listing, each: BoardLook) -> SheetLook:
    photo = listing.photos[each.look.photo]
    x, y = inner_point(each.look.outline_px)
    spot = PhotoPoint(photo.sha256[:12], (round(x, 1), round(y, 1)))
    return SheetLook(spot, photo.name, each.face, each.is_best, each.sure, look_jpeg(each.look.patch))


def is_wanted(lot: LotFolder) -> bool:
    """Whether boards that several of the lot's photos show are to count once."""
    return lot.facts().get(_WANTED) is True and lot.photo_count > 1


def is_undecided(lot: LotFolder) -> bool:
    """Whether nobody has said yet whether boards that several photos show count once."""
    return _WANTED not in lot.facts()


def want(lot: LotFolder, *, wanted: bool = True) -> None:
    """Say that they are to count once, or that they are not."""
    lot.set_facts(**{_WANTED: wanted})


def made_of(lot: LotFolder) -> str:
    """A name for the measurements of a lot's photos and the corrections to their boards."""
    photos = sorted((done.sha256, str(done.stamp)) for done in lot.measured().values())
    said = json.dumps([photos, lot.facts().get(_STEPS, [])], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()


def corrections(lot: LotFolder) -> ListingCorrections:
    """All corrections that were not undone."""
    sayings = tuple(s for step in _steps(lot, _STEPS) for s in _sayings(step))
    return ListingCorrections(sayings)


def keep_step(lot: LotFolder, words: str, sayings: Sequence[Saying]) -> None:
    """Keep one step: its words and its meaning."""
    step = {"words": words, "sayings": [s.as_json() for s in sayings]}
    lot.set_facts(**{_STEPS: [*_steps(lot, _STEPS), step], _UNDONE: []})


def undo(lot: LotFolder) -> None:
    """Undo the last step."""
    *steps, last = _steps(lot, _STEPS)
    lot.set_facts(**{_STEPS: steps, _UNDONE: [*_steps(lot, _UNDONE), last]})


def redo(lot: LotFolder) -> None:
    """Redo the step that was undone last."""
    *undone, last = _steps(lot, _UNDONE)
    lot.set_facts(**{_STEPS: [*_steps(lot, _STEPS), last], _UNDONE: undone})


def last_words(lot: LotFolder) -> tuple[str | None, str | None]:
    """Words of the last step, and of the step that would be redone; None where there is no such step."""
    said, undone = ([str(step.get("words", "")) for step in _steps(lot, name)] for name in (_STEPS, _UNDONE))
    return said[-1] if said else None, undone[-1] if undone else None


def _steps(lot: LotFolder, name: str) -> list[Mapping[str, Any]]:
    kept = lot.facts().get(name, [])
    return [step for step in kept if isinstance(step, Mapping)] if isinstance(kept, list) else []


def _sayings(step: Mapping[str, Any]) -> tuple[Saying, ...]:
    try:
        return parse_listing_corrections(json.dumps({"sayings": step.get("sayings", [])})).sayings
    except DataFileError:
        return ()


def keep_sheet(lot: LotFolder, sheet: BoardSheet) -> None:
    """Keep a sheet in place of the earlier one."""
    put_file(lot.folder / "sheet.json", json.dumps(_as_json(sheet)).encode())


def kept_sheet(lot: LotFolder) -> BoardSheet | None:
    """The sheet that was computed last; None if there is no readable sheet."""
    try:
        return _from_json(loads((lot.folder / "sheet.json").read_bytes()))
    except (OSError, DataFileError, *UNSOUND):
        return None


def _as_json(sheet: BoardSheet) -> dict[str, Any]:
    return {
        "made_of": sheet.made_of,
        "boards": [[_look_json(look) for look in board] for board in sheet.boards],
        "words": list(sheet.words),
        "none": [_look_json(look) for look in sheet.none],
        "count": sheet.count,
        "summary": sheet.summary,
        "notices": [list(n) for n in sheet.notices],
        "records": {
            name: None if record is None else record.to_dict() for name, record in vars(sheet.records).items()
        },
    }


def _from_json(data: Mapping[str, Any]) -> BoardSheet:
    records = {
        name: None if record is None else Measured.from_dict(record) for name, record in data["records"].items()
    }
    return BoardSheet(
        str(data["made_of"]),
        tuple(tuple(_look_of(look) for look in board) for board in data["boards"]),
        tuple(str(words) for words in data["words"]),
        tuple(_look_of(look) for look in data["none"]),
        str(data["count"]),
        str(data["summary"]),
        tuple((str(message), str(advice)) for message, advice in data["notices"]),
        Records(**records),
    )


def _look_json(look: SheetLook) -> dict[str, Any]:
    return {
        "spot": [look.spot.photo, *look.spot.at_px],
        "photo": look.photo,
        "face": look.face,
        "is_best": look.is_best,
        "sure": round(look.sure, 3),
        "picture": base64.b64encode(look.picture).decode("ascii"),
    }


def _look_of(data: Mapping[str, Any]) -> SheetLook:
    photo, x, y = data["spot"]
    spot = PhotoPoint(str(photo), (float(x), float(y)))
    picture = base64.b64decode(str(data["picture"]))
    return SheetLook(spot, str(data["photo"]), str(data["face"]), bool(data["is_best"]), float(data["sure"]), picture)
