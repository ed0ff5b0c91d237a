"""Where the pictures of one or many photos are written, checked before anything is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from calibration.errors import UsageError
from calibration.files import check_place, is_folder, is_there


def picture_in(folder: Path, photo: Path, what: str) -> Path:
    """A photo's picture in a folder of pictures."""
    return folder / f"{photo.stem}-{what}.png"


def pictures_of(photos: Sequence[Path], wanted: Mapping[str, Path | None], called: str = "") -> list[Path]:
    """The pictures that will be written: one, or for several photos one each in a folder.

    Args:
        photos: to be pictured.
        wanted: file or folder by the name of its option.
        called: what the pictures are called in a folder; otherwise by their option.

    Raises:
        UsageError: ``one-picture-only``, ``photo-name-twice``.
    """
    places = {what: path for what, path in wanted.items() if path is not None}
    if len(photos) == 1 or not places:
        return list(places.values())
    for what, path in places.items():
        if not is_folder(path):
            raise UsageError(
                "one-picture-only",
                f"--{what} names one file, but there are {len(photos)} photos.",
                f"Name a folder that exists, for a picture each: --{what} pictures/",
            )
    stems = [photo.stem for photo in photos]
    for stem in stems:
        if stems.count(stem) > 1:
            raise UsageError(
                "photo-name-twice",
                f"Two photos are called {stem}, so their pictures would have the same name.",
                "Process them one by one, or rename one.",
            )
    return [picture_in(path, photo, called or what) for what, path in places.items() for photo in photos]


def check_outputs(inputs: Sequence[Path], outputs: Sequence[Path]) -> None:
    """Refuse what could not be written, or would overwrite what is read, before anything is written.

    Raises:
        UsageError: ``cannot-write``, ``output-is-photo``.
    """
    for path in outputs:
        check_place(path)
        if any(is_there(path) and is_there(file) and path.samefile(file) for file in inputs):
            raise UsageError(
                "output-is-photo", f"{path} is one of the input files.", "Choose another name for the result."
            )
