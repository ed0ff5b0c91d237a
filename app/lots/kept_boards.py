"""The sheet in the log: an offer that counted each board once holds the boards, and which pictures show which."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app.lots.shared_json import UNSOUND
from app.lots.sheets import BoardSheet, Records, SheetLook
from calibration.errors import DataFileError
from grader.log import Contents
from grader.measured import Measured

_KEY = "boards_seen"


def as_noted(sheet: BoardSheet) -> dict[str, Any]:
    """What an offer's document says of the sheet, without its small pictures."""
    return {
        _KEY: {
            "count": sheet.count,
            "boards": [[_look(look) for look in board] for board in sheet.boards],
            "records": {
                name: None if record is None else record.to_dict() for name, record in vars(sheet.records).items()
            },
        }
    }


def noted_in(contents: Contents) -> dict[str, Any]:
    """What the last offer of a lot of the log says of the sheet.

    Empty where its pictures count one by one: the offer does not say otherwise, or a picture was measured after it.
    """
    last = contents.offers[-1] if contents.offers else None
    if (
        last is None
        or _KEY not in last.document
        or any(e.made_at > last.made_at for e in contents.latest_estimates())
    ):
        return {}
    return {_KEY: last.document[_KEY]}


def boards_of(noted: Mapping[str, Any]) -> Records | None:
    """The boards, each once; None where nothing is noted, or nothing readable."""
    try:
        records = noted[_KEY]["records"].items()
        found = Records(**{name: None if each is None else Measured.from_dict(each) for name, each in records})
    except (DataFileError, *UNSOUND):
        return None
    return found if found.each else None


def _look(look: SheetLook) -> dict[str, Any]:
    return {"photo": look.photo, "sha256": look.spot.photo, "at_px": list(look.spot.at_px), "face": look.face}
