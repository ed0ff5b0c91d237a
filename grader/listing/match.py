"""Evidence that two looks are at the same face of one board, for all looks of a listing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from grader.listing.compare import Likeness, compare_laid, compare_looks
from grader.listing.layout import PhotoMap, fits, guessed_layout, layout_between
from grader.listing.looks import Look
from grader.photo import Photo

Pair = tuple[int, int]


@dataclass(frozen=True, eq=False)
class Match:
    """Common ground of two looks.

    Attributes:
        likeness: how well one lies on the other; None where nothing lays one on the other.
        in_layout: 1 where the map of their photos lays one on the other, -1 where it lays them apart, 0 without one.
    """

    likeness: Likeness | None
    in_layout: int


def match_all(
    looks: Sequence[Look], photos: Sequence[Photo], known: Mapping[Pair, Match] | None = None
) -> dict[Pair, Match]:
    """Matches of each two looks of different photos, by their places in ``looks``, the lower first.

    Args:
        looks: looks at all boards.
        photos: the photos that they are in.
        known: matches known already; two photos are compared again only where one of their pairs is missing.
    """
    found: dict[Pair, Match] = {}
    known = {} if known is None else known
    by_photo: dict[int, list[int]] = {}
    for n, look in enumerate(looks):
        by_photo.setdefault(look.photo, []).append(n)
    for one, other in combinations(sorted(by_photo), 2):
        pairs = [(i, j) for i in by_photo[one] for j in by_photo[other]]
        if all(p in known for p in pairs):
            found |= {p: known[p] for p in pairs}
            continue
        found |= _between(looks, pairs, (photos[one], photos[other]))
    return found


def _between(looks: Sequence[Look], pairs: Sequence[Pair], photos: tuple[Photo, Photo]) -> dict[Pair, Match]:
    alike = {p: compare_looks(looks[p[0]], looks[p[1]], photos) for p in pairs}
    layout = _layout(looks, alike, photos)
    if layout is None:
        return {p: Match(found, 0) for p, found in alike.items()}
    return {p: _laid(looks, p, alike[p], layout, photos) for p in pairs}


def _layout(
    looks: Sequence[Look], alike: dict[Pair, Likeness | None], photos: tuple[Photo, Photo]
) -> PhotoMap | None:
    """Layout of the photos; pairs found by way of one sure pair are put into ``alike``."""
    found = layout_between(looks, {p: each for p, each in alike.items() if each is not None})
    if found is not None:
        return found
    guess = guessed_layout(looks, {p: each for p, each in alike.items() if each is not None})
    if guess is None:
        return None
    for pair, own in alike.items():
        if pair in guess.kept or not _may_meet(looks, pair, guess):
            continue
        laid = compare_laid(looks[pair[0]], looks[pair[1]], photos, guess.way)
        if laid is not None and (own is None or laid.agreement * laid.overlap > own.agreement * own.overlap):
            alike[pair] = laid
    return layout_between(looks, {p: each for p, each in alike.items() if each is not None})


def _laid(
    looks: Sequence[Look], pair: Pair, alike: Likeness | None, layout: PhotoMap, photos: tuple[Photo, Photo]
) -> Match:
    if not _may_meet(looks, pair, layout):
        return Match(alike, -1)
    laid = compare_laid(looks[pair[0]], looks[pair[1]], photos, layout.way)
    if laid is None:
        return Match(alike, -1)
    if alike is not None and alike.agreement * alike.overlap > laid.agreement * laid.overlap + 0.1:
        return Match(alike, 1 if fits(looks, pair, alike.to_other) and pair in layout.kept else 0)
    return Match(laid, 1)


def _may_meet(looks: Sequence[Look], pair: Pair, layout: PhotoMap) -> bool:
    """Whether the outlines may meet at all: a cheap test that spares most pairs a closer comparison."""
    a, b = looks[pair[0]], looks[pair[1]]
    weight = a.outline_px @ layout.way[2, :2] + layout.way[2, 2]
    if (weight <= 0).any():
        return False
    moved = a.outline_px @ layout.way[:2, :2].T + layout.way[:2, 2]
    moved = moved / weight[:, None]
    return bool((moved.max(0) > b.outline_px.min(0)).all() and (moved.min(0) < b.outline_px.max(0)).all())
