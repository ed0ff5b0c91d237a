"""Scale from photo to photo: boards whose size is known from one photo are known rectangles in another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import cv2
import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import ScaleError
from calibration.from_rectangles import SeenRectangle, scale_from_rectangles
from calibration.scale import Scale
from grader.listing.assign import Group
from grader.listing.looks import Look
from grader.listing.match import Match, Pair
from grader.pipeline import Measurement, measure_at

# how far off the sides of a rectangle laid over from another photo by features may be, and those of the other face of
# a board, as shares of the sides: judged by eye on the rendered lots of seeds 500 to 503
_LAID_SD, _BACK_SD = 0.006, 0.02
_CORNER_SD_PX = 1.0
_BACK_WORTH = 0.3  # weight of a board's other face relative to its own, when the photo to borrow from is chosen
_LENT_WORTH = 0.3  # weight of a photo whose own scale is borrowed
_LEAST_AGREEMENT = 0.35


def borrowed(
    measured: Sequence[Measurement],
    looks: Sequence[Look],
    matches: Mapping[Pair, Match],
    groups: Sequence[Group],
) -> dict[int, Measurement]:
    """Photos without scale, measured by the size of boards that a photo with a scale shows too.

    A photo that got its scale in this way lends it to others. No scale is borrowed where no board is whole in both.
    """
    found: dict[int, Measurement] = {}
    scales: dict[int, Scale] = {n: m.scale for n, m in enumerate(measured) if m.scale is not None}
    wanting = [n for n, m in enumerate(measured) if m.scale is None]
    while wanting:
        offers = []
        for place in wanting:
            for source, scale in scales.items():
                rectangles = _rectangles(place, source, scale, looks, matches, groups)
                if rectangles:
                    worth = _worth(rectangles) * (_LENT_WORTH if source in found else 1.0)
                    offers.append((worth, -place, -source, rectangles))
        if not offers:
            break
        _, place, source, rectangles = max(offers, key=lambda o: o[:3])
        place, source = -place, -source
        wanting.remove(place)
        before = measured[place]
        try:
            # the source's errors are this photo's too: they are drawn once for both
            scale = scale_from_rectangles(before.photo.view, rectangles, scales[source].area_inputs)
        except ScaleError:
            continue
        done = measure_at(before.photo, scale, before.request)
        found[place], scales[place] = done, scale
    return found


def _worth(rectangles: Sequence[SeenRectangle]) -> float:
    """Worth of the rectangles for a photo's scale: the area that they cover."""
    return sum(
        float(abs(cv2.contourArea(r.corners_px.astype(np.float32)))) * (1 if r.sd_share == _LAID_SD else _BACK_WORTH)
        for r in rectangles
    )


def _rectangles(
    place: int,
    source: int,
    scale: Scale,
    looks: Sequence[Look],
    matches: Mapping[Pair, Match],
    groups: Sequence[Group],
) -> list[SeenRectangle]:
    """Boards that two photos show whole, as rectangles known from the source photo and seen in the other photo."""
    found = []
    for group in groups:
        here = [n for n in group.looks if looks[n].photo == source and not _is_part(looks[n])]
        there = [n for n in group.looks if looks[n].photo == place and not _is_part(looks[n])]
        if here and there:
            is_same_face = (here[0] in group.fronts) == (there[0] in group.fronts)
            each = _of_pair(here[0], there[0], scale, looks, matches, is_same_face=is_same_face)
            if each is not None:
                found.append(each)
    return found


def _of_pair(
    here: int,
    there: int,
    scale: Scale,
    looks: Sequence[Look],
    matches: Mapping[Pair, Match],
    *,
    is_same_face: bool,
) -> SeenRectangle | None:
    on_board = np.asarray(scale.plane.to_mm(looks[here].outline_px), np.float32)
    if not np.isfinite(on_board).all():
        return None
    corners_mm = np.asarray(cv2.boxPoints(cv2.minAreaRect(on_board)), np.float64)
    sides = np.hypot(*(np.roll(corners_mm, -1, axis=0) - corners_mm).T)
    if sides[0] < sides[1]:
        corners_mm, sides = np.roll(corners_mm, -1, axis=0), np.roll(sides, -1)
    known = (float(sides[0]), float(sides[1]))
    if not is_same_face:
        return SeenRectangle(known, looks[there].corners_px, _BACK_SD, 2 * _CORNER_SD_PX)
    way = _way(here, there, matches)
    if way is None:
        return None
    corners = cv2.perspectiveTransform(np.asarray(scale.plane.to_px(corners_mm))[None], way)[0]
    return SeenRectangle(known, np.asarray(corners, np.float64), _LAID_SD, _CORNER_SD_PX)


def _way(here: int, there: int, matches: Mapping[Pair, Match]) -> FloatArray | None:
    match = matches.get((min(here, there), max(here, there)))
    if match is None or match.likeness is None or match.likeness.agreement < _LEAST_AGREEMENT:
        return None
    way = match.likeness.to_other
    return way if here < there else np.asarray(np.linalg.inv(way), np.float64)


def _is_part(look: Look) -> bool:
    return look.is_cut or look.is_hidden
