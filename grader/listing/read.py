"""From a listing's photos to its boards, each once: measure, match, divide, borrow scales, take the best looks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from types import MappingProxyType

import cv2
import numpy as np

from calibration.errors import PhotoError, UsageError
from calibration.notices import Notice
from grader.listing.assign import Said
from grader.listing.backs import Mirrored
from grader.listing.boards import boards_of, count_of_boards, lot_figures
from grader.listing.division import Division
from grader.listing.looks import Look, look_at
from grader.listing.match import Match, Pair, match_all
from grader.listing.model import BoardLook, Listing, ListingPhoto
from grader.listing.said import NOTHING, ListingCorrections
from grader.listing.scales import borrowed
from grader.listing.seen import SeenPhoto, divided, said_of, turned_over
from grader.listing.targets import without_targets
from grader.listing.told import notices_of
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement, measure
from grader.request import Request

Progress = Callable[[int, int, str], None]


def read_listing(
    photos: Sequence[str | Path | bytes | Photo],
    request: Request | None = None,
    corrections: ListingCorrections = NOTHING,
    progress: Progress | None = None,
    measured: Mapping[str, Measurement] = MappingProxyType({}),
) -> Listing:
    """Boards that a listing's photos show, each once, and their plating and gold by the best look at each.

    The result does not depend on the photos' order and names. A file that is not a photo is left out with a warning.
    For arguments and errors see ``see_listing``.
    """
    return see_listing(photos, request, corrections, progress, measured).listing(corrections)


def see_listing(
    photos: Sequence[str | Path | bytes | Photo],
    request: Request | None = None,
    corrections: ListingCorrections = NOTHING,
    progress: Progress | None = None,
    measured: Mapping[str, Measurement] = MappingProxyType({}),
) -> SeenListing:
    """Measure a listing's photos and compare their boards. This is slow; the result then gives the boards quickly.

    Args:
        photos: files, their bytes, or loaded photos.
        request: how each photo is to be measured; its scale is looked for in every photo.
        corrections: a person's corrections of the sheet: photos to leave out, and matches that lend scales.
        progress: called with the number done, the number of photos, and the name of the next.
        measured: photos that were already measured in this way, by their sha256.

    Raises:
        UsageError: ``listing-empty``: there is no photo in it that can be read.
    """
    loaded, others = _loaded(photos, corrections)
    if not loaded:
        raise UsageError(
            "listing-empty",
            "None of the files is a photo that can be read.",
            "Give the listing's pictures as JPEG, PNG, WebP, TIFF or HEIC files.",
        )
    wanted = request if request is not None else Request()
    every = []
    for done, photo in enumerate(loaded):
        if progress is not None:
            progress(done, len(loaded), photo.name)
        every.append(measured[photo.sha256] if photo.sha256 in measured else measure(photo, wanted))
    found = _Found(every, _looks(every), {})
    found = replace(found, matches=match_all(found.looks, loaded))
    said, _ = said_of(found.looks, _names(loaded), corrections)
    lent = borrowed(every, found.looks, found.matches, _divided(found, said).groups)
    if lent:
        found = _again(found, lent)
    seen = tuple(SeenPhoto.of(m, is_lent=place in lent) for place, m in enumerate(found.measured))
    looks = tuple(replace(look, features=look.features[:0], points_px=look.points_px[:0]) for look in found.looks)
    return SeenListing(seen, looks, found.matches, turned_over(found.looks), tuple(others))


@dataclass(frozen=True, eq=False)
class SeenListing:
    """Contents of a listing's photos. The boards follow from it and from a person's corrections of the sheet.

    Attributes:
        photos: by their sha256.
        looks: looks in them.
        matches: what each two looks have in common.
        turned: how well they fit each other, mirrored.
        others: files that were left out.
    """

    photos: tuple[SeenPhoto, ...]
    looks: tuple[Look, ...]
    matches: Mapping[Pair, Match]
    turned: Mapping[Pair, Mirrored]
    others: tuple[ListingPhoto, ...]

    def listing(self, corrections: ListingCorrections = NOTHING) -> Listing:
        """Its boards, each once.

        Args:
            corrections: a person's corrections of the sheet; photos to leave out are given to ``see_listing``.
        """
        photos, looks = self.photos, self.looks
        said, unused = said_of(looks, [(p.name, p.sha256) for p in photos], corrections)
        outlines, has_scale = [p.boards for p in photos], [p.has_scale for p in photos]
        division = divided(looks, self.matches, self.turned, outlines, has_scale, said)
        boards = boards_of(photos, looks, division)
        figures = lot_figures(photos, looks, boards, division)
        own = (ListingPhoto(p.name, p.sha256, p.record, has_borrowed_scale=p.is_lent) for p in photos)
        return Listing(
            photos=(*own, *self.others),
            boards=boards,
            board_count=count_of_boards(photos, looks, division),
            doubts=division.doubts,
            record=figures.record,
            fronts=figures.fronts,
            fronts_with_backs=figures.fronts_with_backs,
            backs=figures.backs,
            area_mm2=figures.area_mm2,
            gold=figures.gold_mg,
            notices=(*notices_of(photos, boards, division.doubts, self.others), *unused),
            no_boards=tuple(
                BoardLook(looks[n], "front", is_best=False, number=n + 1, sure=division.sure[n])
                for n in division.none
            ),
            heaps={p.name: p.heap for p in photos if p.heap is not None},
        )


@dataclass(frozen=True, eq=False)
class _Found:
    """Everything that was found in the photos so far."""

    measured: Sequence[Measurement]
    looks: Sequence[Look]
    matches: Mapping[Pair, Match]


def _names(photos: Sequence[Photo]) -> list[tuple[str, str]]:
    return [(photo.name, photo.sha256) for photo in photos]


def _divided(found: _Found, said: Said) -> Division:
    outlines, has_scale = [m.regions.boards for m in found.measured], [m.scale is not None for m in found.measured]
    return divided(found.looks, found.matches, turned_over(found.looks), outlines, has_scale, said)


def _loaded(
    files: Sequence[str | Path | bytes | Photo], corrections: ListingCorrections
) -> tuple[list[Photo], list[ListingPhoto]]:
    """Photos by their sha256, each once, and the files that were left out."""
    found: dict[str, Photo] = {}
    others = []
    for number, each in enumerate(files, 1):
        name = Path(each).name if isinstance(each, str | Path) else f"photo {number}"
        try:
            photo = each if isinstance(each, Photo) else load_photo(each, name)
        except PhotoError as error:
            others.append(ListingPhoto(name, error=Notice.of(error)))
            continue
        if any(photo.sha256.startswith(w) or photo.name == w for w in corrections.without if w):
            continue
        known = found.setdefault(photo.sha256, photo)
        if known is not photo:
            others.append(ListingPhoto(photo.name, photo.sha256, copy_of=known.name))
    return [found[sha] for sha in sorted(found)], others


def _looks(measured: Sequence[Measurement]) -> list[Look]:
    return [look for place, m in enumerate(measured) for look in _looks_in(m, place)]


def _looks_in(m: Measurement, place: int) -> list[Look]:
    outlines = m.regions.boards
    each = (
        look_at(m.photo, m.coverage.share, place, n, board.outline_px, is_hidden=board.hidden)
        for n, board in enumerate(outlines)
    )
    return without_targets([look for look in each if look is not None], m.photo, m.request.scale)


def _again(found: _Found, lent: Mapping[int, Measurement]) -> _Found:
    """The same with photos that were measured again; matches among the other photos stay."""
    measured = [lent.get(place, m) for place, m in enumerate(found.measured)]
    looks: list[Look] = []
    old_of: dict[int, int] = {}
    for place, m in enumerate(measured):
        own = [n for n, look in enumerate(found.looks) if look.photo == place]
        if place not in lent:
            for n in own:
                old_of[len(looks)] = n
                looks.append(found.looks[n])
            continue
        for look in _looks_in(m, place):
            alike = next((n for n in own if _is_same_outline(look, found.looks[n])), None)
            if alike is not None:
                old_of[len(looks)] = alike
                kept = found.looks[alike]
                looks.append(replace(kept, board=look.board, is_hidden=look.is_hidden))
            else:
                looks.append(look)
    photos = [m.photo for m in measured]
    fresh = {n for n in range(len(looks)) if n not in old_of}
    matches: dict[Pair, Match] = {}
    for i, j in combinations(range(len(looks)), 2):
        if i not in fresh and j not in fresh and (old_of[i], old_of[j]) in found.matches:
            matches[i, j] = found.matches[old_of[i], old_of[j]]
    if fresh:
        matches = match_all(looks, photos, matches)
    return _Found(measured, looks, matches)


def _is_same_outline(one: Look, other: Look) -> bool:
    """Whether two outlines of one photo cover the same area, to about a tenth."""
    low = np.minimum(one.outline_px.min(0), other.outline_px.min(0))
    high = np.maximum(one.outline_px.max(0), other.outline_px.max(0))
    k = 150 / max(float((high - low).max()), 1.0)
    size = np.ceil((high - low) * k).astype(int) + 2
    masks = []
    for look in (one, other):
        mask = np.zeros((size[1], size[0]), np.uint8)
        cv2.fillPoly(mask, [np.round((look.outline_px - low) * k).astype(np.int32)], 1)
        masks.append(mask)
    either = int((masks[0] | masks[1]).sum())
    return int((masks[0] & masks[1]).sum()) > _SAME_OUTLINE * either


_SAME_OUTLINE = 0.9
