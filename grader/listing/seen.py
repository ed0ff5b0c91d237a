"""Contents of a listing's photos without the pixels: enough to divide looks anew when a person corrects more."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from calibration.notices import Notice
from grader.gold import GoldEstimate
from grader.listing.assign import Said
from grader.listing.backs import Mirrored, mirrored
from grader.listing.division import Division, division_of, none_odds
from grader.listing.looks import Look
from grader.listing.match import Match, Pair
from grader.listing.notices import notice
from grader.listing.odds import of_sizes, opposite_faces, same_face
from grader.listing.said import ListingCorrections, PhotoPoint
from grader.measured import Measured
from grader.model import Finish, ProductModel
from grader.pipeline import Measurement
from grader.regions.count import outline_chances
from grader.regions.heap import Heap, heap_of
from grader.regions.model import Board
from grader.request import Request


@dataclass(frozen=True, eq=False)
class SeenPhoto:
    """One photo's measurement without its pixels.

    Attributes:
        record: record of the measurement.
        request: the request that it was measured with.
        boards: its outlines.
        area_by_board: plating in each, by finish; empty without scale.
        gold_by_board: gold in each; empty without scale.
        heap: its heap where its boards overlap; None where they do not, or without scale.
        has_scale: whether it has a scale.
        is_lent: whether the scale came from another photo's boards.
    """

    record: Measured
    request: Request
    boards: tuple[Board, ...]
    area_by_board: tuple[Mapping[Finish, ProductModel], ...]
    gold_by_board: tuple[GoldEstimate, ...]
    heap: Heap | None
    has_scale: bool
    is_lent: bool

    @property
    def name(self) -> str:
        """Name of its file."""
        return self.record.photo

    @property
    def sha256(self) -> str:
        """SHA-256 of its bytes."""
        return self.record.sha256

    @staticmethod
    def of(m: Measurement, *, is_lent: bool = False) -> SeenPhoto:
        """The part of a measurement that is kept."""
        boards = tuple(m.regions.boards)
        heap = None if m.scale is None else heap_of(boards, m.photo.rgb.shape)
        return SeenPhoto(
            Measured.of(m),
            m.request,
            boards,
            () if m.area is None else tuple(m.area.by_board),
            m.gold_by_board,
            # boards that are only cut off by the frame are mostly in other photos
            heap if heap is not None and heap.is_piled else None,
            m.scale is not None,
            is_lent,
        )


def combined_id(photos: Sequence[SeenPhoto]) -> str:
    """One id for all photos of a listing."""
    return hashlib.sha256("".join(photo.sha256 for photo in photos).encode()).hexdigest()


def turned_over(looks: Sequence[Look]) -> dict[Pair, Mirrored]:
    """Fit of looks in different photos to each other, mirrored, for pairs that may fit."""
    found = {}
    for i, j in combinations(range(len(looks)), 2):
        if looks[i].photo != looks[j].photo:
            each = mirrored(looks[i], looks[j])
            if each is not None:
                found[i, j] = each
    return found


def divided(
    looks: Sequence[Look],
    matches: Mapping[Pair, Match],
    turned: Mapping[Pair, Mirrored],
    boards: Sequence[Sequence[Board]],
    has_scale: Sequence[bool],
    said: Said,
) -> Division:
    """Division of the looks into boards.

    Args:
        looks: looks in all photos.
        matches: what they have in common.
        turned: how well they fit, mirrored: see ``turned_over``.
        boards: outlines of each photo.
        has_scale: whether each photo has a scale.
        said: a person's statements.
    """
    same = {p: same_face(m, looks[p[0]], looks[p[1]]) for p, m in matches.items()}
    opposite = opposite_faces(looks, turned)
    # areas inside the outlines of looks that show their board whole, mm²
    sizes = {
        n: boards[look.photo][look.board].area
        for n, look in enumerate(looks)
        if not is_part(look) and has_scale[look.photo]
    }
    for told in (same, opposite):
        for i, j in told:
            if i in sizes and j in sizes:
                told[i, j] += of_sizes(sizes[i], sizes[j])
    chances = [outline_chances(own) for own in boards]
    return division_of(
        [look.photo for look in looks],
        same,
        opposite,
        [is_part(look) for look in looks],
        [none_odds(float(chances[look.photo][look.board][0])) for look in looks],
        said,
    )


def is_part(look: Look) -> bool:
    """Whether it shows only a part of its board."""
    return look.is_cut or look.is_hidden


def said_of(
    looks: Sequence[Look], names: Sequence[tuple[str, str]], corrections: ListingCorrections
) -> tuple[Said, tuple[Notice, ...]]:
    """A person's corrections in terms of looks, and notices of those that fit no look.

    Args:
        looks: looks in all photos.
        names: name and sha256 of each photo.
        corrections: the corrections.
    """
    pairs: dict[Pair, str] = {}
    single: dict[int, str] = {}
    unused = []
    for saying in corrections.sayings:
        spots = [spot for spot in (saying.one, saying.other) if spot is not None]
        found = [_look_at_spot(looks, names, spot) for spot in spots]
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


def _look_at_spot(looks: Sequence[Look], names: Sequence[tuple[str, str]], spot: PhotoPoint) -> int | None:
    for n, look in enumerate(looks):
        name, sha256 = names[look.photo]
        if name != spot.photo and not sha256.startswith(spot.photo):
            continue
        if cv2.pointPolygonTest(look.outline_px.astype(np.float32), spot.at_px, measureDist=False) >= 0:
            return n
    return None
