"""Rows of results in a folder, on this machine or in object storage: a file for each batch, written whole.

A file is named by its contents, so that a batch that two workers finished is stored once. Of two rows with the same
content the first counts. Results that are there when a run starts are not measured again.
"""

from __future__ import annotations

import hashlib
import io
import json
import posixpath
from collections.abc import Iterable, Iterator
from typing import Literal

from calibration.errors import UsageError
from grader.market.pictures import COLUMNS, KNOWN, MEASURED, TRY_AGAIN, PictureRow
from grader.market.storage import files_at

Form = Literal["jsonl", "parquet"]


class Results:
    """A folder of rows.

    Args:
        folder: path or URL; created if missing.
        form: format of new files; files of either format are read.

    Raises:
        UsageError: ``market-results``: it cannot be read or created; or as ``files_at``.
    """

    def __init__(self, folder: str, form: Form = "jsonl") -> None:
        self._form = form
        try:
            self._files, self._folder = files_at(folder)
            self._files.makedirs(self._folder, exist_ok=True)
        except OSError as error:
            raise UsageError(
                "market-results", f"Results cannot be kept in {folder} ({error}).", "Name a folder that is yours."
            ) from error

    def add(self, rows: Iterable[PictureRow]) -> None:
        """Keep the rows of one batch."""
        new = [row for row in rows if row["state"] != KNOWN]
        if not new:
            return
        name = hashlib.sha256("\n".join(sorted(r["stamp"] + r["content"] for r in new)).encode()).hexdigest()[:24]
        place = posixpath.join(self._folder, f"rows-{name}.{self._form}")
        beside = f"{place}.part"
        with self._files.open(beside, "wb") as file:
            file.write(_parquet(new) if self._form == "parquet" else _lines(new))
        self._files.mv(beside, place)

    def known(self, stamp: str) -> frozenset[str]:
        """Contents that need not be measured again with this stamp; the rows themselves are not kept in memory."""
        return frozenset(r["content"] for r in self._all() if r["stamp"] == stamp and r["code"] not in TRY_AGAIN)

    def rows(self, stamp: str) -> dict[str, PictureRow]:
        """Rows with this stamp, by their content."""
        found: dict[str, PictureRow] = {}
        for row in self._all():
            if row["stamp"] == stamp:
                before = found.get(row["content"])
                if before is None or (before["state"] != MEASURED and row["state"] == MEASURED):
                    found[row["content"]] = row
        return found

    def _all(self) -> Iterator[PictureRow]:
        self._files.invalidate_cache()
        for path in sorted(p for p in self._files.ls(self._folder, detail=False) if "rows-" in p):
            if path.endswith(".jsonl"):
                with self._files.open(path, "rb") as file:
                    yield from map(json.loads, file.read().splitlines())
            elif path.endswith(".parquet"):
                import pyarrow.parquet as pq

                with self._files.open(path, "rb") as file:
                    yield from pq.read_table(file).to_pylist()


def _lines(rows: list[PictureRow]) -> bytes:
    return b"".join(json.dumps(row, ensure_ascii=False, allow_nan=False).encode() + b"\n" for row in rows)


def _parquet(rows: list[PictureRow]) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pa.Table.from_pylist(rows, schema=pa.schema([(name, pa.string()) for name in COLUMNS]))
    out = io.BytesIO()
    pq.write_table(table, out, compression="zstd")
    return out.getvalue()
