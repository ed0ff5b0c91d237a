"""From one picture to a row of results: the work of a worker, wherever it runs.

A row is a mapping of plain values, so that it can pass between processes and into files. Its ``content`` is the
picture's sha256: the same picture is one row, wherever and however often it turns up.
"""

from __future__ import annotations

import base64
import hashlib
import json
import traceback
from collections.abc import Collection, Iterator, Sequence
from typing import Any

import cv2

from calibration.errors import GraderError, PhotoError
from grader.market.ready import make_ready
from grader.market.storage import files_at
from grader.measured import Measured
from grader.photo import load_photo, reduced
from grader.photo.header import MAX_FILE_BYTES
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.version import __version__

PictureRow = dict[str, Any]

COLUMNS = ("content", "stamp", "picture", "state", "code", "message", "record", "thumbnail")
MEASURED, FAILED, KNOWN = "measured", "failed", "known"
TRIES = 2
UNFORESEEN, WORKER_LOST = "unforeseen", "worker-lost"
TRY_AGAIN = (UNFORESEEN, WORKER_LOST, "storage-missing")
"""Codes of failures that may not be the picture's fault: the next run tries again."""
_THUMBNAIL_PX = 220
_THUMBNAIL_QUALITY = 70


def stamp_of(request: Request) -> str:
    """Twelve digits that identify how a picture was measured; results of other versions or requests do not count."""
    said = json.dumps([__version__, request.as_json()], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()[:12]


def measure_batch(
    pictures: Sequence[str], request_json: dict[str, Any], known: Collection[str] = frozenset(), threads: int = 0
) -> list[PictureRow]:
    """A row for each of some pictures, in their order; a fault in one picture does not stop the others.

    Args:
        pictures: paths or URLs.
        request_json: as ``Request.as_json`` returns it.
        known: contents that were measured before; such pictures are read, but not measured again.
        threads: threads of OpenCV and the network in this process; 0 leaves them unchanged.
    """
    return [row for row, _ in _rows(pictures, request_json, known, threads)]


def measured_rows(
    pictures: Sequence[str], request_json: dict[str, Any], known: Collection[str], threads: int
) -> list[tuple[PictureRow, Measurement | None]]:
    """As ``measure_batch``, each row with its measurement; all of them are in memory at once."""
    return list(_rows(pictures, request_json, known, threads))


def _rows(
    pictures: Sequence[str], request_json: dict[str, Any], known: Collection[str], threads: int
) -> Iterator[tuple[PictureRow, Measurement | None]]:
    make_ready(threads)
    request = Request.from_json(request_json)
    for picture in pictures:
        yield _row(picture, request, known)


def _row(picture: str, request: Request, known: Collection[str]) -> tuple[PictureRow, Measurement | None]:
    row: PictureRow = dict.fromkeys(COLUMNS, "") | {"picture": picture, "stamp": stamp_of(request), "state": FAILED}
    for left in reversed(range(TRIES)):
        try:
            data = _read(picture)
            row["content"] = hashlib.sha256(data).hexdigest()
            if row["content"] in known:
                return row | {"state": KNOWN}, None
            values, measured = _measured(data, picture, request)
            return row | values, measured
        except GraderError as error:  # a fault of the picture itself does not go away
            return row | _why(error.code, error.message, row["content"], picture), None
        except Exception as error:
            if not left:
                said = "".join(traceback.format_exception_only(error)).strip()
                return row | _why(UNFORESEEN, said, row["content"], picture), None
    raise AssertionError("tries end")


def _why(code: str, message: str, content: str, picture: str) -> PictureRow:
    return {"code": code, "message": message, "content": content or f"no:{picture}"}


def _read(picture: str) -> bytes:
    try:
        files, path = files_at(picture)
        with files.open(path, "rb") as file:
            return bytes(file.read(MAX_FILE_BYTES + 1))
    except FileNotFoundError as error:
        raise PhotoError("photo-missing", f"There is no file {path}.", "Check the name and the folder.") from error


def _measured(data: bytes, picture: str, request: Request) -> tuple[PictureRow, Measurement]:
    photo = load_photo(data, name=picture.rsplit("/", 1)[-1])
    measured = measure(photo, request)
    record = Measured.of(measured)
    small, _ = reduced(photo.rgb, _THUMBNAIL_PX)
    jpeg = cv2.imencode(".jpg", small[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _THUMBNAIL_QUALITY])[1].tobytes()
    row = {
        "state": MEASURED,
        "record": json.dumps(record.to_dict(), ensure_ascii=False, allow_nan=False),
        "thumbnail": base64.b64encode(jpeg).decode("ascii"),
    }
    return row, measured
