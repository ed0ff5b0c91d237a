"""A lot in progress as files on this machine: photos, measurements, entries. It outlives the page in the browser.

A folder holds one lot. ``lot.json`` lists its contents and is replaced whole, after the files that it names were
written, so it never names an incomplete file. The files of a measurement carry their own stamp, new each time.
Windows and programs change a lot one after another; each states the stamp, or the value of a field, that it started
from. Changes that another one made meanwhile are kept beside it until somebody decides.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from threading import Lock
from typing import Any

from app.lots.entries import Clash, Value, check_entries, clashes_in, empty_entries, enter, entries_in, settle
from app.lots.kept import Kept, PhotoClash, Waiting
from app.lots.process_lock import ProcessLock
from app.lots.shared_json import UNSOUND, Json, SharedJson, loads, put_file
from app.photo_view import History
from calibration.errors import DataFileError, UsageError
from grader.measured import Measured
from grader.request import Request

__all__ = ["Kept", "LotFolder", "PhotoClash", "Waiting", "cannot_move", "is_key", "is_sha256", "lots_in", "new_key"]

_KEY = re.compile(r"[A-Za-z0-9_-]{16}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_STAMP = re.compile(r"[0-9a-f]{12}")
_LOOKS = 3  # attempts to read a measurement that another window replaces meanwhile


def new_key() -> str:
    """A name for a new lot's folder that nobody can guess."""
    return secrets.token_urlsafe(12)


def is_key(text: str) -> bool:
    """Whether a text can be a folder's name; check every text from an address first."""
    return _KEY.fullmatch(text) is not None


class LotFolder:
    """The folder of one lot; it is created when something is first put into it.

    Everything that reads or changes it raises a ``DataFileError`` if ``lot.json`` is damaged; everything that changes
    it raises a ``UsageError`` if it cannot be written to disk.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        # One lock for all lots: a deleted lot takes its files along, and a lock must stay.
        self._file = SharedJson(folder / "lot.json", ProcessLock(folder.parent / ".lock"), _empty, _check)
        self._memory = Lock()
        self._loaded: dict[str, Kept] = {}

    @property
    def folder(self) -> Path:
        """The folder of its files."""
        return self._folder

    @property
    def changed_at(self) -> float:
        """When it last changed, seconds since 1970; 0 if there is nothing yet."""
        return self._file.changed_at

    def entries(self) -> dict[str, Value]:
        """The entries, by field name."""
        return entries_in(self._file.read())

    def clashes(self) -> tuple[Clash, ...]:
        """Fields that windows have filled in differently, unaware of each other."""
        return clashes_in(self._file.read())

    def set_entries(self, changed: Mapping[str, Value], seen: Mapping[str, Value] | None = None) -> None:
        """Keep entries of a window that saw earlier values (see ``entries.enter``); others stay."""
        self._file.change(lambda lot: enter(lot, changed, seen))

    def settle(self, clash: Clash, value: Value) -> None:
        """Decide the value of a field."""
        self._file.change(lambda lot: settle(lot, clash, value))

    def facts(self) -> dict[str, Any]:
        """Intermediate results and decisions, by name."""
        return dict(self._file.read()["facts"])

    def set_facts(self, **facts: Any) -> None:
        """Keep facts, any JSON values; others stay."""
        self._file.change(lambda lot: lot["facts"].update(facts))

    def hand_in(self, name: str, data: bytes, *, is_sample: bool = False) -> Waiting:
        """Keep a photo's bytes until it is measured; an existing photo stays as it is."""
        sha256 = hashlib.sha256(data).hexdigest()

        def add(lot: Json) -> None:
            if _entry_of(lot, sha256) is None:
                lot["photos"].append({"sha256": sha256, "name": name, "is_sample": is_sample, "measured": None})

        with self._file.lock:
            put_file(self._folder / f"{sha256}.photo", data)
            self._file.change(add)
        return Waiting(name, sha256, is_sample)

    def photo(self, sha256: str) -> bytes | None:
        """The bytes of a photo that was added; None if they are not here."""
        try:
            return (self._folder / f"{sha256}.photo").read_bytes()
        except OSError:
            return None

    def waiting(self) -> tuple[Waiting, ...]:
        """Photos that are not measured yet, or whose measurement can no longer be read."""
        done = self.measured()
        found = (p for p in self._file.read()["photos"] if p["sha256"] not in done)
        return tuple(Waiting(p["name"], p["sha256"], p["is_sample"]) for p in found)

    @property
    def photo_count(self) -> int:
        """Number of photos, measured or not."""
        return len(self._file.read()["photos"])

    def measured(self) -> dict[str, Kept]:
        """All measured photos by sha256, the last one last; those that can no longer be read are left out."""
        for _ in range(_LOOKS):
            photos = [p for p in self._file.read()["photos"] if p["measured"] is not None]
            found = self._load((p, p) for p in photos)
            if len(found) == len(photos):
                break
        self._forget_all_but(photos)
        return {done.sha256: done for done in found}

    def photo_clashes(self) -> tuple[PhotoClash, ...]:
        """Photos that windows measured or corrected differently, unaware of each other."""
        measured = self.measured()
        photos = [p for p in self._file.read()["photos"] if p.get("others") and p["sha256"] in measured]
        found = ((measured[p["sha256"]], tuple(self._load((p, other) for other in p["others"]))) for p in photos)
        return tuple(PhotoClash(now, others) for now, others in found if others)

    def settle_photo(self, sha256: str, stamp: str) -> None:
        """Decide which measurement of a photo counts; the others are removed."""

        def choose(lot: Json) -> None:
            entry = _entry_of(lot, sha256)
            for version in [] if entry is None else [_version(entry), *entry.get("others", ())]:
                if entry is not None and version["measured"] == stamp:
                    entry |= {**version, "others": []}

        with self._file.lock:
            self._history_path(sha256).unlink(missing_ok=True)  # of one of them; the chosen one counts from now on
            self._file.change(choose)
            self._clear(sha256)

    def put(self, done: Kept) -> Kept:
        """Keep a measured photo in place of the measurement that it was made from.

        A different measurement that was added meanwhile is kept beside it.

        Returns:
            The photo with its new stamp.
        """
        stamp = secrets.token_hex(6)
        document = json.dumps(done.measured.to_dict()).encode()
        kept = replace(done, stamp=stamp)
        sums = [hashlib.sha256(each).hexdigest() for each in (document, done.overlay)]

        def add(lot: Json) -> None:
            before = _entry_of(lot, done.sha256)
            lot["photos"] = [p for p in lot["photos"] if p is not before]
            others = [] if before is None else list(before.get("others", ()))
            if before is not None and before["measured"] not in (None, done.stamp):
                unseen = self._load([(before, before)])
                others += [_version(before)] if unseen and unseen[0] != done else []
            others = [version for version in others if version["sums"] != sums]
            own = {
                "sha256": done.sha256,
                "name": done.name,
                "is_sample": done.is_sample,
                "measured": stamp,
                "request": done.request.as_json(),
                "sums": sums,
                "others": others,
            }
            lot["photos"].append(own)

        with self._file.lock:
            put_file(self._folder / f"{done.sha256}.{stamp}.json", document)
            put_file(self._folder / f"{done.sha256}.{stamp}.png", done.overlay)
            self._file.change(add)
            self._clear(done.sha256)
        with self._memory:
            self._loaded[stamp] = kept
        return kept

    def history(self, sha256: str) -> History | None:
        """The corrections of a photo by hand, as far as they are known; None if there are none."""
        return _read_history(self._history_path(sha256))

    def keep_history(self, sha256: str, history: History) -> None:
        """Keep a history at once, before anything is computed from it: the measurement follows.

        Steps of another window that no measurement has followed yet are laid aside: see ``unsettled``.
        """
        with self._file.lock:
            path, old, done = self._history_path(sha256), self.history(sha256), self.measured().get(sha256)
            followed = () if done is None else done.measured.made_by_hand.items
            if old is not None and old.by != history.by and old.done.items != followed:
                path.replace(path.with_name(f"{sha256}.{old.by or 'other'}.hand"))
            put_file(path, json.dumps(history.as_json()).encode())

    def unsettled(self, sha256: str) -> list[tuple[Path, History]]:
        """Histories of a photo that were laid aside; a caller that applies one to a measurement removes its file."""
        found = ((path, _read_history(path)) for path in sorted(self._folder.glob(f"{sha256}.*.hand")))
        return [(path, history) for path, history in found if history is not None]

    def _history_path(self, sha256: str) -> Path:
        return self._folder / f"{sha256}.hand"

    def remove(self, sha256: str) -> None:
        """Remove a photo and its measurement."""

        def drop(lot: Json) -> None:
            lot["photos"] = [p for p in lot["photos"] if p["sha256"] != sha256]

        with self._file.lock:
            self._file.change(drop)
            self._clear(sha256)
            (self._folder / f"{sha256}.photo").unlink(missing_ok=True)
            self._history_path(sha256).unlink(missing_ok=True)

    def release(self, sha256: str, aside: Path) -> Json | None:
        """Take a photo out of the lot and lay its files aside; return its entry, or None if it was not there."""

        def drop(lot: Json) -> Json | None:
            entry = _entry_of(lot, sha256)
            lot["photos"] = [p for p in lot["photos"] if p is not entry]
            return entry

        with self._file.lock:
            entry = self._file.change(drop)
            _lay(self._folder.glob(f"{sha256}*"), aside)
            return entry

    def take_back(self, entry: Json, aside: Path) -> None:
        """The inverse of ``release``; if the photo is there again, it stays as it is."""
        with self._file.lock:
            if _entry_of(self._file.read(), entry["sha256"]) is None:
                _lay(aside.glob(f"{entry['sha256']}*"), self._folder)
                self._file.change(lambda lot: lot["photos"].append(entry))

    def move(self, to: Path) -> None:
        """Move the whole folder, such as into the bin or back.

        Raises:
            UsageError: ``cannot-write``: the folder cannot be moved.
        """
        with self._file.lock:
            try:
                to.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
                self._folder.rename(to)
            except OSError as error:
                raise cannot_move(self._folder, error) from error

    def begin_anew(self) -> Path | None:
        """Put a damaged ``lot.json`` aside, return its new name, and begin with the photos that are still here."""
        with self._file.lock:
            aside = self._file.put_aside()
            shas = sorted(p.stem for p in self._folder.glob("*.photo") if _SHA256.fullmatch(p.stem))
            names = {sha256: self._name_of(sha256) for sha256 in shas}
            photos = [{"sha256": s, "name": n, "is_sample": False, "measured": None} for s, n in names.items()]
            self._file.change(lambda lot: lot["photos"].extend(photos))
            return aside

    def _name_of(self, sha256: str) -> str:
        """The name of a photo according to its measurements."""
        for path in sorted(self._folder.glob(f"{sha256}*.json")):
            try:
                return str(loads(path.read_bytes())["photo"])
            except (OSError, *UNSOUND):
                continue
        return f"photo {sha256[:8]}"

    def _load(self, versions: Iterable[tuple[Json, Json]]) -> list[Kept]:
        """Measurements from the photos' entries and from those parts of them that describe a measurement."""
        found = []
        for photo, version in versions:
            stamp = version["measured"]
            with self._memory:
                done = self._loaded.get(stamp)
            if done is None:
                try:
                    done = self._kept(photo, version)
                except (OSError, *UNSOUND):
                    continue
                with self._memory:
                    self._loaded[stamp] = done
            found.append(done)
        return found

    def _forget_all_but(self, photos: Iterable[Json]) -> None:
        stamps = {version["measured"] for p in photos for version in (p, *p.get("others", ()))}
        with self._memory:
            self._loaded = {stamp: done for stamp, done in self._loaded.items() if stamp in stamps}

    def _kept(self, photo: Json, version: Json) -> Kept:
        sha256, stamp, sums = photo["sha256"], version["measured"], version.get("sums")
        stem = sha256 if sums is None else f"{sha256}.{stamp}"  # before checksums were used, files had no stamp
        document, overlay = ((self._folder / f"{stem}.{end}").read_bytes() for end in ("json", "png"))
        if sums is not None and [hashlib.sha256(each).hexdigest() for each in (document, overlay)] != sums:
            raise ValueError("not the files that were written")
        request = Request.from_json(version["request"])
        measured = Measured.from_dict(loads(document), photo["name"])
        return Kept(photo["name"], sha256, request, measured, overlay, photo["is_sample"], stamp)

    def _clear(self, sha256: str) -> None:
        """Remove files of measurements that the lot no longer names, and forget them."""
        entry = _entry_of(self._file.read(), sha256)
        versions = [] if entry is None else [_version(entry), *entry.get("others", ())]
        stems = {sha256 if v["sums"] is None else f"{sha256}.{v['measured']}" for v in versions}
        for end in ("json", "png"):
            for path in self._folder.glob(f"{sha256}*.{end}"):
                if path.stem not in stems:
                    path.unlink(missing_ok=True)


def _read_history(path: Path) -> History | None:
    try:
        return History.from_json(loads(path.read_bytes()))
    except (OSError, DataFileError, *UNSOUND):
        return None


def is_sha256(text: str) -> bool:
    """Whether a text can be the sha256 of a photo."""
    return _SHA256.fullmatch(text) is not None


def _lay(paths: Iterable[Path], into: Path) -> None:
    try:
        into.mkdir(parents=True, exist_ok=True, mode=0o700)
        for path in [*paths]:
            path.replace(into / path.name)
    except OSError as error:
        raise cannot_move(into, error) from error


def cannot_move(place: Path, error: OSError) -> UsageError:
    """The error for a file or folder that cannot be moved."""
    return UsageError(
        "cannot-write",
        f"{place} cannot be moved ({error.strerror}).",
        "Check that the disk has room and the folder is yours; what was kept before is still there.",
    )


def lots_in(folder: Path) -> list[tuple[str, LotFolder]]:
    """Keys and lots in progress in a folder, the last changed first."""
    if not folder.is_dir():
        return []
    found = [(path.name, LotFolder(path)) for path in folder.iterdir() if is_key(path.name)]
    return sorted((f for f in found if f[1].changed_at), key=lambda f: -f[1].changed_at)


def _empty() -> Json:
    return {"schema": 1, **empty_entries(), "facts": {}, "photos": []}


def _check(lot: Json) -> None:
    """Check that a lot has its required contents; raises the errors in ``UNSOUND``."""
    check_entries(lot)
    if lot["schema"] != 1 or not all(isinstance(line, str) for line in lot["facts"].get("said", [])):
        raise ValueError("no lot")
    in_log = lot["facts"].get("log-lot", {"log": None, "number": 0})
    if not isinstance(in_log["log"], str | None) or not isinstance(in_log["number"], int):
        raise TypeError("no lot of a log")
    for photo in lot["photos"]:
        if _SHA256.fullmatch(photo["sha256"]) is None or not isinstance(photo["name"], str):
            raise ValueError("no photo")
        for version in (photo, *photo.get("others", ())):
            stamp = version["measured"]
            if not isinstance(photo["is_sample"], bool) or (stamp is not None and _STAMP.fullmatch(stamp) is None):
                raise ValueError("no measurement")


def _entry_of(lot: Json, sha256: str) -> Json | None:
    return next((p for p in lot["photos"] if p["sha256"] == sha256), None)


def _version(entry: Json) -> Json:
    """The part of a photo's entry that describes the measurement."""
    return {"measured": entry["measured"], "request": entry.get("request"), "sums": entry.get("sums")}
