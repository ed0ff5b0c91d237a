"""The way in: a path or bytes to a ``Photo``, or one clear error."""

from __future__ import annotations

import hashlib
import stat
import warnings
from pathlib import Path

from calibration.errors import PhotoError
from grader.photo.colour import convert_to_srgb
from grader.photo.damage import damage_notices
from grader.photo.decode import decode, turned_upright
from grader.photo.exif import read_exif
from grader.photo.header import MAX_FILE_BYTES, check_file_size, open_checked
from grader.photo.model import Photo
from grader.photo.sniff import sniff
from grader.photo.tiff import left_over_notices


def load_photo(source: str | Path | bytes, name: str | None = None) -> Photo:
    """Load one photo: JPEG, PNG, WebP, TIFF or HEIC, distinguished by their bytes alone.

    Refused: more than 60 megapixels or 200 MB; animations and files of several pictures; grey, palette and CMYK
    pictures; more than 8 bits per channel (HEIC: only high dynamic range); pictures with transparent parts; camera
    raw files. An alpha channel that is opaque throughout is dropped. ``grader.photo.decode.decode`` describes the
    damage that is refused; other signs of damage are in the photo's notices. Memory: the file, its pixels, and little
    more; a turned photo needs its pixels twice for a moment, a format other than JPEG about three times.

    Args:
        source: a file's path, or the bytes of a file.
        name: name of the photo; by default the path's last part. Only for display.

    Raises:
        PhotoError: no such file, or the file cannot be trusted as a photo; the error's code says why.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> photo = grader.load_photo(samples_folder() / "memory-modules.jpg")
        >>> photo.name, photo.rgb.shape
        ('memory-modules.jpg', (1500, 2000, 3))
    """
    data = source if isinstance(source, bytes) else _read(Path(source))
    shown = name if name is not None else ("photo" if isinstance(source, bytes) else Path(source).name)
    check_file_size(len(data))
    kind = sniff(data)
    with warnings.catch_warnings():
        # Pillow warns about odd metadata and about sizes that the gate judges by its own limits.
        warnings.simplefilter("ignore")
        picture = open_checked(data, kind)
        rgb = decode(data, kind, picture)
        facts = read_exif(picture, kind)  # after decoding: a PNG may carry EXIF behind its pixels
    notices = (*(left_over_notices(data) if kind == "TIFF" else ()), *damage_notices(rgb))
    convert_to_srgb(rgb, picture.info.get("icc_profile"))
    focal_px = facts.focal_px(rgb.shape[1], rgb.shape[0])
    rgb = turned_upright(rgb, facts.orientation)
    rgb.flags.writeable = False
    return Photo(
        # Control characters, direction overrides and undecodable bytes of file names would upset terminals and JSON.
        name="".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in shown),
        sha256=hashlib.sha256(data).hexdigest(),
        rgb=rgb,
        format=kind,
        focal_px=focal_px,
        taken_at=facts.taken_at,
        notices=notices,
    )


def _read(path: Path) -> bytes:
    try:
        mode = path.stat().st_mode
        if stat.S_ISREG(mode):
            with path.open("rb") as file:
                return file.read(MAX_FILE_BYTES + 1)
    except (FileNotFoundError, NotADirectoryError) as error:
        raise PhotoError("photo-missing", f"There is no file {path}.", "Check the name and the folder.") from error
    except PermissionError as error:
        raise PhotoError(
            "photo-unreadable", f"{path} may not be read.", "Ask its owner for permission to read it, or copy it."
        ) from error
    except (OSError, ValueError) as error:  # ValueError: a name with a NUL in it
        raise PhotoError(
            "photo-unreadable", f"{path} cannot be read ({error}).", "Copy the file to this computer and try again."
        ) from error
    if stat.S_ISDIR(mode):
        raise PhotoError("photo-is-folder", f"{path} is a folder, not a photo.", "Name the photos inside it.")
    raise PhotoError("photo-not-a-file", f"{path} is a device or a pipe, not a file.", "Name a photo's file.")
