"""Archives of corrections as a folder of training pictures: the page's exports can be used for training directly."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Sequence
from pathlib import Path

_MADE_OF = ("images/", "masks/")
_META = "meta.json"


def as_folders(given: Sequence[Path], into: Path) -> list[Path]:
    """The folders as they are, and one more folder into which all archives (``.zip``) are unpacked.

    Args:
        given: folders and archives.
        into: where to unpack; created if there are archives.

    Raises:
        zipfile.BadZipFile: a file is not an archive.
    """
    folders = [path for path in given if path.suffix.lower() != ".zip"]
    archives = [path for path in given if path.suffix.lower() == ".zip"]
    if not archives:
        return folders
    about: dict[str, object] = {}
    for path in archives:
        with zipfile.ZipFile(path) as archive:
            names = archive.namelist()
            archive.extractall(into, [name for name in names if name.startswith(_MADE_OF)])
            if _META in names:
                about |= json.loads(archive.read(_META))
    (into / _META).write_text(json.dumps(about), "utf-8")
    return [*folders, into]
