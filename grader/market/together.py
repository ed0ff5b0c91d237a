"""All pictures of one listing measured together: a row for each, and one for the boards that they show.

The content of the boards' row identifies the listing's pictures, so that the work is done once for the same pictures,
whatever the listing is called. Its record is empty where there is nothing to match.
"""

from __future__ import annotations

import hashlib
import json
import traceback
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.errors import GraderError
from grader.listing import Listing, read_listing
from grader.listing.amount import seen_number
from grader.listing.model import lot_of_faces
from grader.lot import Lot
from grader.market.pictures import COLUMNS, FAILED, KNOWN, MEASURED, UNFORESEEN, PictureRow, measured_rows
from grader.measured import Measured
from grader.pipeline import Measurement
from grader.request import Request

_FACES = ("fronts", "fronts_with_backs", "backs")
_NO_CONTENT = "no:"


def content_of_all(contents: Iterable[str]) -> str:
    """The content of the row of the boards that some pictures show."""
    return "all:" + hashlib.sha256("".join(sorted(set(_readable(contents)))).encode()).hexdigest()


def _readable(contents: Iterable[str]) -> list[str]:
    return [c for c in contents if not c.startswith(_NO_CONTENT)]


def measure_together(
    pictures: Sequence[str], request_json: dict[str, Any], known: Collection[str] = frozenset(), threads: int = 0
) -> list[PictureRow]:
    """Rows of a listing's pictures, and one row of its boards, whose ``picture`` is empty; as ``measure_batch``.

    Nothing is measured where the pictures and their boards are known. Where pictures were added, all are measured.
    """
    whole = measured_rows(pictures, request_json, known, threads)
    rows = [row for row, _ in whole]
    content = content_of_all(row["content"] for row in rows)
    if content in known and all(row["state"] != MEASURED for row in rows):
        return rows
    again = measured_rows(
        [row["picture"] for row in rows if row["state"] == KNOWN], request_json, frozenset(), threads
    )
    measured = [m for _, m in (*whole, *again) if m is not None]
    boards: PictureRow = dict.fromkeys(COLUMNS, "") | {"content": content, "state": MEASURED}
    try:
        boards["record"] = _record(measured, Request.from_json(request_json))
    except GraderError as error:
        boards |= {"state": FAILED, "code": error.code, "message": error.message}
    except Exception as error:
        said = "".join(traceback.format_exception_only(error)).strip()
        boards |= {"state": FAILED, "code": UNFORESEEN, "message": said}
    return [*rows, boards]


def _record(measured: Sequence[Measurement], request: Request) -> str:
    """The boards as JSON; empty where fewer than two pictures show boards, or where no picture has a scale."""
    different = {m.photo.sha256: m for m in measured if m.regions.boards}
    if len(different) < 2 or all(m.scale is None for m in different.values()):
        return ""
    listing = read_listing([m.photo for m in different.values()], request, measured=different)
    return json.dumps(_as_json(listing), ensure_ascii=False, allow_nan=False)


def _as_json(listing: Listing) -> dict[str, Any]:
    faces: dict[str, Measured | None] = {name: getattr(listing, name) for name in _FACES}
    return {
        **{name: None if seen is None else seen.to_dict() for name, seen in faces.items()},
        "count": seen_number(listing)[0].words(),
        "pictures": len(listing.photos),
    }


@dataclass(frozen=True)
class SeenTogether:
    """The boards that the pictures of a listing show, each once.

    Attributes:
        faces: the records of ``Listing`` that make up a lot; None for a record that is missing.
        note: number of boards, in words for a person.
    """

    faces: Mapping[str, Measured | None]
    note: str

    @staticmethod
    def of(row: PictureRow | None) -> SeenTogether | None:
        """From a row of results; None where nothing was matched."""
        if row is None or row["state"] != MEASURED or not row["record"]:
            return None
        told = json.loads(row["record"])
        faces = {n: None if told[n] is None else Measured.from_dict(told[n]) for n in _FACES}
        if faces["fronts"] is None and faces["fronts_with_backs"] is None:
            return None
        return SeenTogether(faces, f"Its {told['pictures']} pictures show {told['count']}, each counted once.")

    def lot(self, *, count: str, mass: str, kind: str) -> Lot:
        """The lot; as ``Listing.lot``."""
        fronts, with_backs, backs = (self.faces[name] for name in _FACES)
        return lot_of_faces(fronts, with_backs, backs, count=count, mass=mass, kind=kind)
