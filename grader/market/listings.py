"""Listings as input: a folder with a folder for each listing, or a CSV file of pictures.

Folders and files may be anywhere that fsspec can read: on this machine, or in object storage by their URL.
"""

from __future__ import annotations

import csv
import io
import posixpath
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import fsspec

from calibration.errors import UsageError
from calibration.reading import FileKind, parse_toml
from grader.listing_text import Found, ListingText, read_listing_text
from grader.market.storage import files_at

ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif")
TEXTS = ("listing.toml", "listing.txt")
SAID = ("asking", "count", "mass", "kind", "postage")
_KIND = FileKind(
    code="listing-said",
    what="the text of a listing",
    most_bytes=1_000_000,
    fix='Write it as: asking = "120 USD", and count = "40" or mass = "5 kg".',
)
_LIST = FileKind(
    code="market-list",
    what="a list of pictures",
    most_bytes=200_000_000,
    fix="Give it the columns listing and picture; asking, count, mass, kind and postage may follow.",
)


@dataclass(frozen=True)
class MarketListing:
    """One listing on offer.

    Attributes:
        name: name of its folder, or its name in the list.
        pictures: paths or URLs, in order; none where its folder is empty, or holds only its text.
        said: the seller's statements, as typed: any of ``SAID``.
        words: words of the seller's text from which each statement was read; empty where it was given exactly.
        trouble: why its text could not be read; empty where it could, or where there is no text.
    """

    name: str
    pictures: tuple[str, ...]
    said: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    trouble: str = ""


def read_market(source: str) -> list[MarketListing]:
    """The listings of a folder, or of a CSV file that names a picture in each row.

    Raises:
        UsageError: ``market-missing``; ``market-empty``: there are no pictures; or as ``files_at``.
        DataFileError: if the list cannot be read.
    """
    files, path = files_at(source)
    if not files.exists(path):
        raise UsageError("market-missing", f"There is no {source}.", "Check the name and the folder.")
    found = list(_in_folder(files, path) if files.isdir(path) else _in_list(files, path))
    if not any(one.pictures for one in found):
        raise UsageError(
            "market-empty",
            f"There are no pictures in {source}.",
            "Put the pictures of each listing into a folder of its own, or name them in a CSV file.",
        )
    return found


def _in_folder(files: fsspec.AbstractFileSystem, root: str) -> Iterator[MarketListing]:
    for folder in sorted([root, *(e["name"] for e in files.ls(root, detail=True) if e["type"] == "directory")]):
        entries = files.ls(folder, detail=True)
        inside = sorted(e["name"] for e in entries if e["type"] == "file")
        pictures = [p for p in inside if p.lower().endswith(ENDINGS) and not posixpath.basename(p).startswith(".")]
        texts = [p for end in TEXTS for p in inside if posixpath.basename(p) == end]
        is_listing = pictures or (folder != root and (texts or not entries))
        if not is_listing:
            continue
        told = _said(files, texts[0]) if texts else _Told()
        yield MarketListing(
            posixpath.basename(folder.rstrip("/")), tuple(map(files.unstrip_protocol, pictures)), *told
        )


class _Told(NamedTuple):
    said: Mapping[str, str] = {}
    words: Mapping[str, str] = {}
    trouble: str = ""


def _said(files: fsspec.AbstractFileSystem, path: str) -> _Told:
    try:
        text = files.cat_file(path, end=_KIND.most_bytes).decode("utf-8-sig")
        if path.endswith(".toml"):
            told = parse_toml(text, posixpath.basename(path), _KIND)
            return _Told({key: str(told[key]) for key in SAID if key in told})
    except (UsageError, OSError, UnicodeDecodeError) as error:
        return _Told(trouble=str(error))
    found = said_in(read_listing_text(text))
    return _Told({key: part.value for key, part in found.items()}, {key: part.words for key, part in found.items()})


def said_in(text: ListingText) -> dict[str, Found]:
    """Statements read from a listing's text; the mass only where no number is stated."""
    found: dict[str, Found] = {key: part for key in SAID if (part := getattr(text, key)) is not None}
    if "count" in found:
        found.pop("mass", None)
    return found


def _in_list(files: fsspec.AbstractFileSystem, path: str) -> Iterator[MarketListing]:
    try:
        text = files.cat_file(path, end=_LIST.most_bytes).decode("utf-8-sig")
        rows = list(csv.DictReader(io.StringIO(text)))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise _LIST.invalid(path, str(error)) from error
    if rows and not {"listing", "picture"} <= set(rows[0]):
        raise _LIST.invalid(path, "without the columns listing and picture")
    pictures: dict[str, list[str]] = defaultdict(list)
    said: dict[str, dict[str, str]] = defaultdict(dict)
    folder = posixpath.dirname(path)
    for row in rows:
        name, picture = (row["listing"] or "").strip(), (row["picture"] or "").strip()
        if not picture:
            continue
        own = "://" in picture or picture.startswith("/")
        pictures[name].append(picture if own else files.unstrip_protocol(posixpath.join(folder, picture)))
        said[name] |= {key: text for key in SAID if (text := (row.get(key) or "").strip())}
    for name, some in pictures.items():
        yield MarketListing(name, tuple(some), said[name])
