"""A lot in progress as files on this machine: photos, measurements, entries. It outlives the browser's page.

A folder holds one lot. ``lot.json`` says what is in it and is replaced whole, after the files that it names were
written: whatever happens meanwhile, it never names half a file. All windows on a lot share one ``LotFolder``, whose
lock lets them add to it without undoing anything of each other.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from threading import RLock
from typing import Any

from app.request_json import request_json, request_of
from grader.measure import Request

Value = str | int | float | bool | date | None
_KEY = re.compile(r"[A-Za-z0-9_-]{16}")
_EMPTY = '{"schema": 1, "entries": {}, "facts": {}, "photos": []}'


@dataclass(frozen=True)
class Kept:
    """One measured photo.

    Attributes:
        name: of the photo.
        sha256: of its file.
        request: how it was measured.
        document: the measurement.
        overlay: PNG of at most 1600 px.
        is_sample: whether it is one of the demo's photos.
    """

    name: str
    sha256: str
    request: Request
    document: Mapping[str, Any]
    overlay: bytes
    is_sample: bool

    @property
    def has_gold(self) -> bool:
        """Whether there is an estimate to value and to log."""
        return self.document["gold_mg"] is not None


def new_key() -> str:
    """A name for a new lot's folder that nobody guesses."""
    return secrets.token_urlsafe(12)


def is_key(text: str) -> bool:
    """Whether a text can be a folder's name; what comes from an address must be asked first."""
    return _KEY.fullmatch(text) is not None


@dataclass(frozen=True)
class Waiting:
    """A photo that was handed in and not measured yet."""

    name: str
    sha256: str
    is_sample: bool = False


class LotFolder:
    """The folder of one lot; it is made when something is first put into it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = RLock()
        self._loaded: dict[str, Kept] = {}

    @property
    def changed_at(self) -> float:
        """When it last changed, seconds since 1970; 0 where there is nothing yet."""
        try:
            return (self._folder / "lot.json").stat().st_mtime
        except OSError:
            return 0.0

    def entries(self) -> dict[str, Value]:
        """What was entered, by the fields' names."""
        return {name: value_of(kept) for name, kept in self._read()["entries"].items()}

    def set_entries(self, changed: Mapping[str, Value]) -> None:
        """Keep entries; others stay."""
        self._change(lambda lot: lot["entries"].update({name: json_of(v) for name, v in changed.items()}))

    def facts(self) -> dict[str, Any]:
        """What was worked out or decided on the way, by name."""
        return dict(self._read()["facts"])

    def set_facts(self, **facts: Any) -> None:
        """Keep facts, any JSON values; others stay."""
        self._change(lambda lot: lot["facts"].update(facts))

    def hand_in(self, name: str, data: bytes, *, is_sample: bool = False) -> Waiting:
        """Keep a photo's bytes until it is measured; one that is there already stays as it is."""
        sha256 = hashlib.sha256(data).hexdigest()

        def add(lot: dict[str, Any]) -> None:
            if all(p["sha256"] != sha256 for p in lot["photos"]):
                lot["photos"].append({"sha256": sha256, "name": name, "is_sample": is_sample, "measured": None})

        self._write(f"{sha256}.photo", data)
        self._change(add)
        return Waiting(name, sha256, is_sample)

    def photo(self, sha256: str) -> bytes | None:
        """The bytes of a photo that was handed in; None where they are not here."""
        try:
            return (self._folder / f"{sha256}.photo").read_bytes()
        except OSError:
            return None

    def waiting(self) -> tuple[Waiting, ...]:
        """Photos that were handed in and not measured yet."""
        found = (p for p in self._read()["photos"] if p["measured"] is None)
        return tuple(Waiting(p["name"], p["sha256"], p["is_sample"]) for p in found)

    @property
    def photo_count(self) -> int:
        """How many photos there are, measured or not."""
        return len(self._read()["photos"])

    def measured(self) -> dict[str, Kept]:
        """All measured photos by sha256, the last one last; what cannot be read any more is left out."""
        with self._lock:
            found = {}
            for entry in self._read()["photos"]:
                stamp = entry["measured"]
                if stamp is None:
                    continue
                try:
                    found[stamp] = self._loaded.get(stamp) or self._kept(entry)
                except (OSError, KeyError, TypeError, ValueError):
                    continue
            self._loaded = found
            return {done.sha256: done for done in found.values()}

    def put(self, done: Kept) -> None:
        """Keep a measured photo, in the place of an earlier measurement of it."""
        stamp = secrets.token_hex(6)

        def add(lot: dict[str, Any]) -> None:
            others = [p for p in lot["photos"] if p["sha256"] != done.sha256]
            own = {
                "sha256": done.sha256,
                "name": done.name,
                "is_sample": done.is_sample,
                "measured": stamp,
                "request": request_json(done.request),
            }
            lot["photos"] = [*others, own]

        with self._lock:
            self._write(f"{done.sha256}.json", json.dumps(done.document).encode())
            self._write(f"{done.sha256}.png", done.overlay)
            self._loaded[stamp] = done
            self._change(add)

    def remove(self, sha256: str) -> None:
        """Take a photo and its measurement away."""

        def drop(lot: dict[str, Any]) -> None:
            lot["photos"] = [p for p in lot["photos"] if p["sha256"] != sha256]

        self._change(drop)
        for ending in ("photo", "json", "png"):
            (self._folder / f"{sha256}.{ending}").unlink(missing_ok=True)

    def throw_away(self) -> None:
        """Remove all of it."""
        with self._lock:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _kept(self, entry: Mapping[str, Any]) -> Kept:
        sha256 = entry["sha256"]
        document = json.loads((self._folder / f"{sha256}.json").read_bytes())
        overlay = (self._folder / f"{sha256}.png").read_bytes()
        return Kept(entry["name"], sha256, request_of(entry["request"]), document, overlay, entry["is_sample"])

    def _read(self) -> dict[str, Any]:
        try:
            text: str | bytes = (self._folder / "lot.json").read_bytes()
        except OSError:
            text = _EMPTY
        lot: dict[str, Any] = json.loads(text)
        return lot

    def _change(self, change: Callable[[dict[str, Any]], object]) -> None:
        with self._lock:
            lot = self._read()
            change(lot)
            self._write("lot.json", json.dumps(lot).encode())

    def _write(self, name: str, data: bytes) -> None:
        write_whole(self._folder / name, data)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is there whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    half = path.parent / f".{secrets.token_hex(6)}.part"
    try:
        half.write_bytes(data)
        half.replace(path)
    finally:
        half.unlink(missing_ok=True)


def lots_in(folder: Path) -> list[tuple[str, LotFolder]]:
    """Keys and lots in progress in a folder, the last changed first."""
    if not folder.is_dir():
        return []
    found = [(path.name, LotFolder(path)) for path in folder.iterdir() if is_key(path.name)]
    return sorted((f for f in found if f[1].changed_at), key=lambda f: -f[1].changed_at)


def json_of(value: Value) -> Any:
    """An entry as a JSON value."""
    return {"date": value.isoformat()} if isinstance(value, date) else value


def value_of(kept: Any) -> Value:
    """The inverse of ``json_of``."""
    return date.fromisoformat(kept["date"]) if isinstance(kept, dict) else kept
