"""Reads the photos of a listing, in which boards recur."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.files import is_file, is_folder
from calibration.reading import read_bytes
from grader.api.kept import learned_properties, own_print_factor
from grader.keywords import checks_call, scale_choice
from grader.listing import LISTING_FILE, Listing, ListingCorrections, parse_listing_corrections
from grader.listing import read_listing as listing_of
from grader.photo import ENDINGS, Photo
from grader.request import Request

if TYPE_CHECKING:
    from grader.log import Log


@checks_call
def read_listing(
    photos: str | Path | Sequence[str | Path | bytes | Photo],
    *,
    target: str | Path | None = None,
    said: ListingCorrections | str | Path | None = None,
    part: str = "",
    seller: str = "",
    log: str | Path | Log | None = None,
    published: bool = False,
    request: Request | None = None,
) -> Listing:
    """Find all boards in the photos of a listing, each once, with the plating and gold seen in its best view.

    Args:
        photos: a folder, or several photos as files, bytes or loaded. Their order and names do not matter.
        target: the JSON file that describes a ChArUco sheet in them.
        said: your corrections of which boards are the same, or the file that holds them.
        part: kind of boards as named in the log, to use what its yields taught.
        seller: who sells them, as named in the log.
        log: to learn thickness from; the default log if left out.
        published: use published thickness instead of what yields taught.
        request: all of the above except ``said``.

    Raises:
        UsageError: ``listing-empty``: no photo can be read.
        DataFileError: a given file cannot be read.

    Examples:
        >>> import grader
        >>> from grader.samples import samples_folder
        >>> found = grader.read_listing([samples_folder() / "memory-modules.jpg"])
        >>> len(found.boards), found.board_count.value
        (4, 4)
    """
    if request is None:
        scale = scale_choice(
            target=target, length=None, between=None, rectangle=None, corners=None, coin=None, rim=None, pitch=None,
            no_scale=False,
        )  # fmt: skip
        request = Request(
            scale=scale,
            print_factor=own_print_factor(None),
            properties=None if published else learned_properties(log, part, seller),
        )
    if isinstance(photos, str | Path):
        folder = Path(photos)
        photos = _pictures_in(folder) if is_folder(folder) else [folder]
    if said is None:
        said = ListingCorrections()
    elif not isinstance(said, ListingCorrections):
        said = parse_listing_corrections(read_bytes(Path(said), LISTING_FILE), Path(said).name)
    return listing_of(photos, request, said)


def _pictures_in(folder: Path) -> list[Path]:
    """A folder's photos, recognised by their extensions; hidden files are skipped."""
    return sorted(p for p in folder.iterdir() if p.suffix.lower() in ENDINGS and p.name[0] != "." and is_file(p))
