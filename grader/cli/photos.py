"""Photos as they are named on the command line: files, folders and patterns."""

from __future__ import annotations

import glob
from collections.abc import Iterator, Sequence
from pathlib import Path

from calibration.errors import UsageError

# What is taken from a folder; a file that is named itself may be called anything, for its bytes say what it is.
ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})


def photo_files(named: Sequence[Path]) -> list[Path]:
    """The photos that were named, each once, in the order in which they were named.

    A folder stands for the photos that lie in it (not in folders below it), by name; a pattern such as
    ``shelf/*.jpg`` for what fits it. A file that is not there is kept, so that it is told of with the others.

    Raises:
        UsageError: ``photos-none``: a folder or a pattern holds none.
    """
    found: dict[Path, Path] = {}
    for path in named:
        photos = [path] if path.is_file() else list(_inside(path))
        if not photos:
            raise UsageError(
                "photos-none",
                f"No photo is in {path}." if path.is_dir() else f"No photo fits {path}.",
                f"Name a file, a folder or a pattern; a folder's photos end in {', '.join(sorted(ENDINGS))}.",
            )
        for photo in photos:
            found.setdefault(photo.absolute(), photo)
    return list(found.values())


def _inside(path: Path) -> Iterator[Path]:
    if path.is_dir():
        yield from sorted(p for p in path.iterdir() if p.suffix.lower() in ENDINGS and _is_plain(p))
    elif glob.has_magic(str(path)):
        for fitting in sorted(glob.glob(str(path))):  # noqa: PTH207 - a pattern may begin at a root
            each = Path(fitting)
            if each.is_dir():
                yield from _inside(each)
            elif _is_plain(each):
                yield each
    else:
        yield path


def _is_plain(path: Path) -> bool:
    """Not hidden: some systems leave a hidden companion beside each photo."""
    return path.is_file() and not path.name.startswith(".")
