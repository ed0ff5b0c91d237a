"""Photos as they are named on the command line: files, folders and patterns."""

from __future__ import annotations

import glob
from collections.abc import Iterator, Sequence
from pathlib import Path

from calibration.errors import UsageError
from calibration.files import is_file, is_folder
from calibration.notices import Notice, NoticeDefinition, Notices
from grader.cli.output import show_error
from grader.photo import ENDINGS

# What this program writes itself, and notes: nobody takes them for photos that should have been measured.
_NO_PHOTOS = frozenset({".json", ".jsonl", ".csv", ".pdf", ".html", ".toml", ".txt", ".md", ".sqlite", ".db"})
_MOST_NAMED = 20

notice = Notices(
    NoticeDefinition(
        "files-passed-over",
        "Skipped in {folder}: {names}.",
        f"A folder's photos end in {', '.join(sorted(ENDINGS))}. To read another file, name the file itself.",
    ),
)


def photo_files(named: Sequence[Path]) -> list[Path]:
    """The photos that were named, each once, in the order in which they were named.

    A folder stands for the photos that lie in it (not in folders below it), by name; a pattern such as
    ``shelf/*.jpg`` for what fits it. A missing file is kept, so that it is reported with the others.

    A file in a folder that is left out because of its extension is reported at once: it may be meant as a photo.

    Raises:
        UsageError: ``photos-none``: a folder or a pattern holds none.
    """
    for item in passed_over(named):
        show_error(item)
    found: dict[Path, Path] = {}
    for path in named:
        photos = [path] if is_file(path) else list(_inside(path))
        if not photos:
            raise UsageError(
                "photos-none",
                f"There are no photos in {path}." if is_folder(path) else f"No photo matches {path}.",
                f"Name a file, a folder or a pattern; a folder's photos end in {', '.join(sorted(ENDINGS))}.",
            )
        for photo in photos:
            found.setdefault(photo.absolute(), photo)
    return list(found.values())


def passed_over(named: Sequence[Path]) -> list[Notice]:
    """For each folder that was named, which of its files are no photos by their endings; none if all are."""
    found = []
    for folder in filter(is_folder, named):
        names = [p.name for p in sorted(folder.iterdir()) if _is_plain(p)]
        left = [n for n in names if Path(n).suffix.lower() not in ENDINGS | _NO_PHOTOS]
        if left:
            more = f" and {len(left) - _MOST_NAMED} others" if len(left) > _MOST_NAMED else ""
            found.append(notice("files-passed-over", folder=folder, names=", ".join(left[:_MOST_NAMED]) + more))
    return found


def _inside(path: Path) -> Iterator[Path]:
    if is_folder(path):
        yield from sorted(p for p in path.iterdir() if p.suffix.lower() in ENDINGS and _is_plain(p))
    elif glob.has_magic(str(path)):
        for fitting in sorted(glob.glob(str(path))):  # noqa: PTH207 - a pattern may begin at a root
            each = Path(fitting)
            if is_folder(each):
                yield from _inside(each)
            elif _is_plain(each):
                yield each
    else:
        yield path


def _is_plain(path: Path) -> bool:
    """Not hidden: some systems leave a hidden companion beside each photo."""
    return is_file(path) and not path.name.startswith(".")
