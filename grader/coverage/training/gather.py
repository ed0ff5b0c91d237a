"""Puts photographs and our masks of them together: ``python -m grader.coverage.training.gather CLONES LABELS OUT``.

Photographs stay where their makers published them; only what was drawn by hand is kept, in
``calibration/training_labels``.
``photographs.json`` there says of each photograph its kind, its repository, the path in it, the commit, the SHA-256
of the file, and the size in pixels at which it was labelled. ``masks`` holds what was drawn, as ``dataset`` reads
it.

CLONES holds clones of those repositories, ``OWNER/NAME`` or ``NAME`` (also ``NAME.git``; a work tree is not needed).
OUT becomes a folder to train on. A picture whose file is another than the one that was labelled is left out, and so
is one that no clone holds; the command names both and then ends with 1. Run again with more clones, it adds the
others.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

LIST, MASKS, IMAGES, META = "photographs.json", "masks", "images", "meta.json"
JPEG_QUALITY = 90


@dataclass(frozen=True)
class Labelled:
    """A photograph that was labelled.

    Attributes:
        name: of its masks, and of its picture in the training folder.
        kind: edge, pads, mixed or none.
        repo: ``owner/name`` of the public repository.
        commit: in which the photograph was found.
        path: inside the repository.
        sha256: of the file there, in hexadecimal.
        size_px: width and height of its masks; the file may be larger.
        px_per_mm: at that size, ``None`` if not known.
        boards: corners of each board at that size; empty if there is no board, ``None`` if nobody drew them.
    """

    name: str
    kind: str
    repo: str
    commit: str
    path: str
    sha256: str
    size_px: tuple[int, int]
    px_per_mm: float | None
    boards: tuple[tuple[tuple[float, float], ...], ...] | None


@dataclass(frozen=True)
class Missing:
    """A photograph that could not be put into the folder, and why."""

    name: str
    reason: str


@dataclass(frozen=True)
class Gathered:
    """Names of the photographs in the folder, and those that are missing."""

    names: tuple[str, ...]
    missing: tuple[Missing, ...]


def read_labels(labels: Path) -> list[Labelled]:
    """All labelled photographs, by name.

    Raises:
        OSError, KeyError, ValueError: there is no list, or it lacks something.
    """
    listed: dict[str, dict[str, Any]] = json.loads((labels / LIST).read_text("utf-8"))
    return [
        Labelled(
            name=name,
            kind=entry["kind"],
            repo=entry["repo"],
            commit=entry["commit"],
            path=entry["path"],
            sha256=entry["sha256"],
            size_px=(entry["width_px"], entry["height_px"]),
            px_per_mm=entry.get("px_per_mm"),
            boards=None if "boards" not in entry else tuple(tuple((x, y) for x, y in b) for b in entry["boards"]),
        )
        for name, entry in sorted(listed.items())
    ]


def gather(clones: Path, labels: Path, out: Path) -> Gathered:
    """Write every photograph that a clone holds, with its masks, into a training folder.

    Args:
        clones: folder with clones of the repositories.
        labels: folder with ``photographs.json`` and ``masks``.
        out: created if necessary; its ``meta.json`` names all photographs that are there after this call.

    Raises:
        OSError, KeyError, ValueError: the labels are damaged, or the folder cannot be written.
    """
    for folder in (IMAGES, MASKS):
        (out / folder).mkdir(parents=True, exist_ok=True)
    sources = _sources(out)
    names, missing = [], []
    for one in read_labels(labels):
        found = _photograph(one, clones)
        if isinstance(found, Missing):
            missing.append(found)
            continue
        _write(one, found, labels, out)
        sources[one.name] = {"repo": one.repo}
        names.append(one.name)
    (out / META).write_text(json.dumps(sources, indent=1), "utf-8")
    return Gathered(tuple(names), tuple(missing))


def clone_of(repo: str, clones: Path) -> Path | None:
    """Folder of a repository's clone, or ``None`` if there is none."""
    short = repo.rsplit("/", maxsplit=1)[-1]
    for path in (clones / repo, clones / f"{repo}.git", clones / short, clones / f"{short}.git"):
        if (path / ".git").exists() or (path / "HEAD").exists():
            return path
    return None


def _photograph(one: Labelled, clones: Path) -> NDArray[np.uint8] | Missing:
    """The picture, upright and at the size at which it was labelled."""
    clone = clone_of(one.repo, clones)
    if clone is None:
        return Missing(one.name, f"no clone of {one.repo}")
    contents = [c for c in (_content(clone, commit, one.path) for commit in (one.commit, "HEAD")) if c]
    if not contents:
        return Missing(one.name, f"{one.repo} holds no {one.path}, neither at {one.commit[:12]} nor at its head")
    same = [c for c in contents if hashlib.sha256(c).hexdigest() == one.sha256]
    if not same:
        return Missing(one.name, f"{one.path} of {one.repo} is another file than the one that was labelled")
    picture = cv2.imdecode(np.frombuffer(same[0], np.uint8), cv2.IMREAD_COLOR)
    if picture is None:
        return Missing(one.name, f"{one.path} of {one.repo} cannot be read as a picture")
    if picture.shape[1::-1] != one.size_px:
        picture = cv2.resize(picture, one.size_px, interpolation=cv2.INTER_AREA)
    return np.asarray(picture, np.uint8)


def _content(clone: Path, commit: str, path: str) -> bytes | None:
    """A file's content in git; ``None`` if that commit or that file is not in the clone."""
    asked = ["git", "-C", str(clone), "cat-file", "blob", f"{commit}:{path}"]
    got = subprocess.run(asked, capture_output=True, check=False)  # noqa: S603 - git, with a path from our own list
    return got.stdout if got.returncode == 0 else None


def _write(one: Labelled, picture: NDArray[np.uint8], labels: Path, out: Path) -> None:
    cv2.imwrite(str(out / IMAGES / f"{one.name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    for what in ("gold", "known"):
        mask = labels / MASKS / f"{one.name}_{what}.png"
        if mask.exists():
            shutil.copyfile(mask, out / MASKS / mask.name)
    if one.boards is not None:
        width, height = one.size_px
        boards = np.zeros((height, width), np.uint8)
        for number, corners in enumerate(one.boards, 1):
            cv2.fillPoly(boards, [np.round(corners).astype(np.int32)], number)
        cv2.imwrite(str(out / MASKS / f"{one.name}_board.png"), boards)
    (out / MASKS / f"{one.name}_kind.txt").write_text(f"{one.kind}\n", "utf-8")
    if one.px_per_mm is not None:
        (out / MASKS / f"{one.name}_scale.txt").write_text(f"{one.px_per_mm}\n", "utf-8")


def _sources(out: Path) -> dict[str, Any]:
    path = out / META
    return dict(json.loads(path.read_text("utf-8"))) if path.exists() else {}


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("clones", type=Path, metavar="CLONES")
    ask.add_argument("labels", type=Path, metavar="LABELS")
    ask.add_argument("out", type=Path, metavar="OUT")
    got = ask.parse_args()
    gathered = gather(got.clones, got.labels, got.out)
    for one in gathered.missing:
        sys.stdout.write(f"missing: {one.name}: {one.reason}\n")
    sys.stdout.write(f"{len(gathered.names)} photographs in {got.out}, {len(gathered.missing)} missing\n")
    sys.exit(1 if gathered.missing else 0)


if __name__ == "__main__":
    main()
