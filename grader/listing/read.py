"""From a listing's photos to its boards, each once: measure, match, divide, borrow scales, take the best looks."""

from __future__ import annotations

import hashlib
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
from grader.listing.backs import mirrored
from grader.listing.boards import boards_of, count_of, lot_figures
from grader.listing.division import Division, MatchDoubt, division_of, none_odds
from grader.listing.looks import Look, look_at
from grader.listing.match import Match, Pair, match_all
from grader.listing.model import BoardLook, Listing, ListingPhoto, LotBoard
from grader.listing.notices import notice
from grader.listing.odds import of_sizes, opposite_faces, same_face
from grader.listing.said import NOTHING, ListingCorrections, Spot
from grader.listing.scales import borrowed
from grader.listing.targets import without_targets
from grader.measured import Measured
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement, measure
from grader.regions.count import outline_chances
from grader.regions.heap import Heap, heap_of
from grader.request import Request

Progress = Callable[[int, int, str], None]


def read_listing(
    photos: Sequence[str | Path | bytes | Photo],
    request: Request | None = None,
    corrections: ListingCorrections = NOTHING,
    progress: Progress | None = None,
    measured: Mapping[str, Measurement] = MappingProxyType({}),
) -> Listing:
    """Which boards a listing's photos show, each once, and their plating and gold by the best look at each.

    The result does not depend on the photos' order and names. A file that is no photo is left out with a warning.

    Args:
        photos: files, their bytes, or loaded.
        request: how each is to be measured; its scale is looked for in every photo.
        corrections: what a person says of the sheet.
        progress: called with the number done, the number of photos, and the name of the next.
        measured: photos that were measured so already, by their sha256.

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
    seen = _Seen(every, _looks(every), {})
    seen = replace(seen, matches=match_all(seen.looks, loaded))
    said, unused = _said(seen.looks, loaded, corrections)
    division = _divided(seen, said)
    lent = borrowed(every, seen.looks, seen.matches, division.groups)
    if lent:
        seen = _again(seen, lent)
        said, unused = _said(seen.looks, loaded, corrections)
        division = _divided(seen, said)
    return _listing(seen, division, frozenset(lent), others, unused)


@dataclass(frozen=True, eq=False)
class _Seen:
    """Everything that was found in the photos so far."""

    measured: Sequence[Measurement]
    looks: Sequence[Look]
    matches: Mapping[Pair, Match]


def _loaded(
    files: Sequence[str | Path | bytes | Photo], corrections: ListingCorrections
) -> tuple[list[Photo], list[ListingPhoto]]:
    """Photos by their sha256, each once; and what was left out."""
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


def _divided(seen: _Seen, said: Said) -> Division:
    looks = seen.looks
    same = {p: same_face(m, looks[p[0]], looks[p[1]]) for p, m in seen.matches.items()}
    backs = {}
    for i, j in combinations(range(len(looks)), 2):
        if looks[i].photo != looks[j].photo:
            found = mirrored(looks[i], looks[j])
            if found is not None:
                backs[i, j] = found
    opposite = opposite_faces(looks, backs)
    sizes = _sizes_mm2(seen)
    for told in (same, opposite):
        for i, j in told:
            if i in sizes and j in sizes:
                told[i, j] += of_sizes(sizes[i], sizes[j])
    chances = [outline_chances(m.regions.boards) for m in seen.measured]
    return division_of(
        [look.photo for look in looks],
        same,
        opposite,
        [look.is_cut or look.is_hidden for look in looks],
        [none_odds(float(chances[look.photo][look.board][0])) for look in looks],
        said,
    )


def _sizes_mm2(seen: _Seen) -> dict[int, float]:
    """Areas inside the outlines of looks that show their board whole, in photos with a scale."""
    return {
        n: seen.measured[look.photo].regions.boards[look.board].area
        for n, look in enumerate(seen.looks)
        if not look.is_cut and not look.is_hidden and seen.measured[look.photo].scale is not None
    }


def _again(seen: _Seen, lent: Mapping[int, Measurement]) -> _Seen:
    """With photos that were measured again: what others show of each other stays."""
    measured = [lent.get(place, m) for place, m in enumerate(seen.measured)]
    looks: list[Look] = []
    old_of: dict[int, int] = {}
    for place, m in enumerate(measured):
        own = [n for n, look in enumerate(seen.looks) if look.photo == place]
        if place not in lent:
            for n in own:
                old_of[len(looks)] = n
                looks.append(seen.looks[n])
            continue
        for look in _looks_in(m, place):
            alike = next((n for n in own if _is_same_outline(look, seen.looks[n])), None)
            if alike is not None:
                old_of[len(looks)] = alike
                kept = seen.looks[alike]
                looks.append(replace(kept, board=look.board, is_hidden=look.is_hidden))
            else:
                looks.append(look)
    photos = [m.photo for m in measured]
    fresh = {n for n in range(len(looks)) if n not in old_of}
    matches: dict[Pair, Match] = {}
    for i, j in combinations(range(len(looks)), 2):
        if i not in fresh and j not in fresh and (old_of[i], old_of[j]) in seen.matches:
            matches[i, j] = seen.matches[old_of[i], old_of[j]]
    if fresh:
        matches = match_all(looks, photos, matches)
    return _Seen(measured, looks, matches)


def _is_same_outline(one: Look, other: Look) -> bool:
    """Whether two outlines of one photo cover the same, to about a tenth."""
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


def _said(
    looks: Sequence[Look], photos: Sequence[Photo], corrections: ListingCorrections
) -> tuple[Said, tuple[Notice, ...]]:
    """What was said, in looks; and what of it fits no look."""
    pairs: dict[Pair, str] = {}
    single: dict[int, str] = {}
    unused = []
    for saying in corrections.sayings:
        spots = [spot for spot in (saying.one, saying.other) if spot is not None]
        found = [_look_at_spot(looks, photos, spot) for spot in spots]
        at = [n for n in found if n is not None]
        if len(set(at)) < len(spots):
            unused.append(notice("listing-word-unused", what=" and ".join(spot.photo for spot in spots)))
        elif len(at) == 1:
            single[at[0]] = saying.word
        else:
            pairs[min(at), max(at)] = saying.word
    together, faces, apart = ([p for p, word in pairs.items() if word == own] for own in ("same", "backs", "apart"))
    none, boards = ([n for n, word in single.items() if word == own] for own in ("none", "board"))
    return Said.of(together, faces, apart, none, boards), tuple(unused)


def _look_at_spot(looks: Sequence[Look], photos: Sequence[Photo], spot: Spot) -> int | None:
    for n, look in enumerate(looks):
        photo = photos[look.photo]
        if photo.name != spot.photo and not photo.sha256.startswith(spot.photo):
            continue
        if cv2.pointPolygonTest(look.outline_px.astype(np.float32), spot.at_px, measureDist=False) >= 0:
            return n
    return None


def _listing(
    seen: _Seen,
    division: Division,
    lent: frozenset[int],
    others: Sequence[ListingPhoto],
    unused: tuple[Notice, ...],
) -> Listing:
    boards = boards_of(seen.measured, seen.looks, division, lent)
    count = count_of(seen.measured, seen.looks, division)
    figures = lot_figures(seen.measured, seen.looks, boards, division, lent, _combined_id(seen.measured))
    photos = tuple(
        ListingPhoto(m.photo.name, m.photo.sha256, Measured.of(m), has_borrowed_scale=place in lent)
        for place, m in enumerate(seen.measured)
    )
    return Listing(
        photos=(*photos, *others),
        boards=boards,
        board_count=count,
        doubts=division.doubts,
        record=figures.record,
        fronts=figures.fronts,
        fronts_with_backs=figures.fronts_with_backs,
        backs=figures.backs,
        area_mm2=figures.area_mm2,
        gold=figures.gold_mg,
        notices=(*_notices(seen, boards, division, lent, others), *unused),
        no_boards=tuple(
            BoardLook(seen.looks[n], "front", is_best=False, number=n + 1, sure=division.sure[n])
            for n in division.none
        ),
    )


def _combined_id(measured: Sequence[Measurement]) -> str:
    return hashlib.sha256("".join(m.photo.sha256 for m in measured).encode()).hexdigest()


_UNSURE = 0.1
_MOST_NAMED = 6


def _notices(
    seen: _Seen,
    boards: Sequence[LotBoard],
    division: Division,
    lent: frozenset[int],
    others: Sequence[ListingPhoto],
) -> list[Notice]:
    own = boards
    names = [m.photo.name for m in seen.measured]
    found = [notice("listing-photo-left-out", photo=p.name, why=p.error.message) for p in others if p.error]
    found += [notice("listing-copy", photo=p.name, other=p.copy_of) for p in others if p.copy_of]
    if lent:
        found.append(notice("listing-scale-borrowed", photos=", ".join(names[n] for n in sorted(lent))))
    without = [names[n] for n, m in enumerate(seen.measured) if m.scale is None]
    if without:
        found.append(notice("listing-without-scale", photos=", ".join(without)))
    found += [_heap_words(m) for m in seen.measured if _heap(m) is not None]
    parts = sum(not b.is_whole for b in own)
    if parts:
        found.append(notice("listing-part-seen", boards=parts))
    unsure = [d for d in division.doubts if d.chance > _UNSURE]
    if unsure:
        told = ", ".join(_doubt_words(d) for d in unsure[:_MOST_NAMED])
        found.append(notice("listing-matches-unsure", boards=told))
    without_back = sum(len({each.face for each in b.looks}) < 2 for b in own)
    if without_back:
        found.append(notice("listing-no-backs", boards=without_back))
    return found


def _heap(m: Measurement) -> Heap | None:
    """The heap in a photo where boards overlap; boards at the frame alone are in other photos, mostly."""
    if m.scale is None or not any(b.hidden for b in m.regions.boards):
        return None
    return heap_of(m.regions.boards, m.photo.rgb.shape)


def _heap_words(m: Measurement) -> Notice:
    heap = _heap(m)
    assert heap is not None  # noqa: S101 - callers have looked
    count = heap.count
    return notice("listing-heap", photo=m.photo.name, low=count.low, high=count.high, whole=heap.whole_mm2 / 100)


def _doubt_words(doubt: MatchDoubt) -> str:
    if doubt.is_none:
        return f"board {doubt.first + 1} may be none ({doubt.chance:.0%})"
    if doubt.second is not None:
        return f"boards {doubt.first + 1} and {doubt.second + 1} may be one ({doubt.chance:.0%})"
    return f"board {doubt.first + 1} may be two ({doubt.chance:.0%})"
