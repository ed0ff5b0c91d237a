"""Choice of the pictures held out from training, by their origin alone: every run leaves out the same ones."""

from __future__ import annotations

import functools
import hashlib
import json
import zlib
from pathlib import Path

PHOTOGRAPHS_ONE_IN, RENDERS_ONE_IN = 5, 10
# The first number, counted from 0, that holds out about a fifth of the existing photographs of each kind, from
# several sources. Chosen before any result was seen.
SALT = 22


def held_out(folder: Path, name: str, *, photograph: bool) -> bool:
    """Whether a picture of a folder is held out: a photograph by its source, a render by its scene.

    Args:
        folder: in the form that ``dataset`` describes.
        name: of the picture; for a photograph without a source in ``meta.json``, it is used as the source.
        photograph: whether it is a photograph; otherwise it is a render.
    """
    if not photograph:
        return zlib.crc32(name.split("-", maxsplit=1)[0].encode()) % RENDERS_ONE_IN == 0
    source = _sources(folder).get(name, name)
    return hashlib.sha256(f"{SALT}:{source}".encode()).digest()[0] % PHOTOGRAPHS_ONE_IN == 0


@functools.cache
def _sources(folder: Path) -> dict[str, str]:
    path = folder / "meta.json"
    if not path.exists():
        return {}
    return {name: entry["repo"] for name, entry in json.loads(path.read_text("utf-8")).items() if "repo" in entry}
