"""The checks of one photo, each a figure against a limit.

Limits stand in ``calibration/data/photo_figures.toml`` and ``scale_figures.toml`` with their reasons. What other
stages already warn of (a coarse picture, washed-out gold, tilt, the target) is told under their codes.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import RefusedError
from calibration.notices import Notice, NoticeDefinition, Notices
from calibration.notices import notice as scale_notice
from calibration.scale import Scale
from calibration.sourced import load_figures
from grader.coverage import Coverage
from grader.coverage.error import clipped_share, contact_width_px
from grader.coverage.error import notice as coverage_notice
from grader.photo import Photo
from grader.photo_advice.blur import FWHM, blur_px
from grader.photo_advice.how import HOW
from grader.photo_advice.light import light_ratio
from grader.photo_advice.model import Check, CheckName
from grader.pipeline import Measurement
from grader.regions import Board, Regions
from grader.units import format_share

notice = Notices(
    NoticeDefinition(
        "photo-blurred",
        "Edges are blurred over {blur_px:.1f} px, {share:.0%} of a contact's width.",
        HOW["sharpness"].advice,
    ),
    NoticeDefinition(
        "light-uneven",
        "The background is {ratio:.1f} times brighter in one place than in another: it has a shadow, or two colours.",
        HOW["light"].advice,
    ),
)

_FIGURES = "photo_figures"
_TARGET_CODES = ("target-partly-seen", "target-bent")
_EDGE_PX = 5


def advise_on(measurement: Measurement) -> tuple[Check, ...]:
    """The checks of a measured photo, in the order of ``CHECKS``."""
    return advise(
        measurement.photo,
        measurement.scale,
        coverage=measurement.coverage,
        regions=measurement.regions,
        refused=measurement.refused,
    )


def advise(
    photo: Photo,
    scale: Scale | None = None,
    *,
    coverage: Coverage | None = None,
    regions: Regions | None = None,
    refused: RefusedError | None = None,
) -> tuple[Check, ...]:
    """The checks of a photo, in the order of ``CHECKS``, with what is known of it so far.

    Args:
        photo: the photo.
        scale: of it; without one, sizes and tilt cannot be judged.
        coverage: of it; without one, edges are judged all over the picture, and washed-out gold not at all.
        regions: of it; they tell how wide its contacts are.
        refused: why it has no scale, where one was asked for.
    """
    return (
        _sharpness(photo, scale, coverage, regions),
        _resolution(scale),
        _highlights(photo, coverage),
        _tilt(scale),
        _target(scale, refused),
        _light(photo, scale, coverage, regions),
    )


def _check(
    name: CheckName,
    sentence: str,
    value: float | None = None,
    limit: float | None = None,
    *,
    unit: str = "",
    is_good: bool | None = None,
    told: tuple[Notice, ...] = (),
) -> Check:
    return Check(name, HOW[name].title, value, unit, limit, is_good, sentence, HOW[name].advice, told)


def _sharpness(photo: Photo, scale: Scale | None, coverage: Coverage | None, regions: Regions | None) -> Check:
    limit = load_figures(_FIGURES)["blur_over_contact"].value
    blur = _blur_of(photo, coverage)
    contact = _contact_px(scale, regions)
    if blur is None:
        return _check("sharpness", "The picture shows too few edges to judge its sharpness.", limit=limit)
    wide = FWHM * blur
    if contact is None:
        text = f"Edges are blurred over {wide:.1f} px; how wide contacts are is not known."
        return _check("sharpness", text, limit=limit)
    ratio = wide / contact
    text = f"Edges are blurred over {wide:.1f} px, {ratio:.0%} of a contact's width."
    told = (notice("photo-blurred", blur_px=wide, share=ratio),) if ratio > limit else ()
    return _check("sharpness", text, ratio, limit, is_good=not told, told=told)


def _blur_of(photo: Photo, coverage: Coverage | None) -> float | None:
    """Blur at the edges of the plating where it was found, otherwise all over the picture."""
    if coverage is not None:
        plated = (coverage.share > 127).astype(np.uint8)
        near = np.ones((_EDGE_PX, _EDGE_PX), np.uint8)
        edges: NDArray[np.bool_] = cv2.dilate(plated, near) > cv2.erode(plated, near)
        found = blur_px(photo.rgb, edges)
        if found is not None:
            return found
    return blur_px(photo.rgb)


def _contact_px(scale: Scale | None, regions: Regions | None) -> float | None:
    """Width of the narrowest row's contacts in px, or of a common contact where no row was found."""
    widths = [row.contact_width for row in regions.rows] if regions is not None else []
    if not widths:
        return contact_width_px(scale)
    return min(widths) * (scale.px_per_mm if scale is not None else 1.0)


def _resolution(scale: Scale | None) -> Check:
    figures = load_figures(_FIGURES)
    limit = figures["contact_px_least"].value / figures["contact_width"].value
    contact = contact_width_px(scale)
    if scale is None or contact is None:
        return _check("resolution", "Without a scale, px per mm are not known.", limit=limit, unit="px/mm")
    coarse = contact < figures["contact_px_least"].value
    told = (coverage_notice("contacts-narrow", px_per_mm=scale.px_per_mm, contact_px=contact),) if coarse else ()
    text = f"The picture has {scale.px_per_mm:.1f} px per mm: {contact:.1f} px across a common contact."
    return _check("resolution", text, scale.px_per_mm, limit, unit="px/mm", is_good=not told, told=told)


def _highlights(photo: Photo, coverage: Coverage | None) -> Check:
    limit = load_figures(_FIGURES)["clipped_share"].value
    share = None if coverage is None else clipped_share(photo.rgb, coverage.share)
    if share is None:
        return _check("highlights", "No plating was found that could be washed out.", limit=limit)
    told = (coverage_notice("gold-clipped", share=share),) if share > limit else ()
    text = f"{format_share(share)} of the plating found is washed out to white."
    return _check("highlights", text, share, limit, is_good=not told, told=told)


def _tilt(scale: Scale | None) -> Check:
    limit = load_figures("scale_figures")["tilt_notice"].value
    tilt = None if scale is None else scale.tilt_deg
    if tilt is None:
        return _check("tilt", "What gave the scale cannot show the tilt.", limit=limit, unit="°")
    told = (scale_notice("tilt-large", tilt_deg=tilt),) if tilt > limit else ()
    text = f"The camera looked from {tilt:.0f}° off straight down."
    return _check("tilt", text, tilt, limit, unit="°", is_good=not told, told=told)


def _target(scale: Scale | None, refused: RefusedError | None) -> Check:
    """The share of the target's corners in sight; a bent one, or one that had to be refused, fails whatever it is."""
    if refused is not None and refused.code.startswith("target-"):
        reason = Notice.of(refused)
        return _check("target", refused.message, is_good=False, told=(reason,))
    if scale is None or scale.method != "target":
        return _check("target", "No printed target was used.")
    told = tuple(n for n in scale.notices if n.code in _TARGET_CODES)
    seen = [(n.values["seen"], n.values["total"]) for n in told if n.code == "target-partly-seen"]
    share = next((float(str(part)) / float(str(whole)) for part, whole in seen), 1.0)
    text = " ".join(n.message for n in told) or "The whole target is in sight, and flat."
    return _check("target", text, share, 1.0, is_good=not told, told=told)


def _light(photo: Photo, scale: Scale | None, coverage: Coverage | None, regions: Regions | None) -> Check:
    limit = load_figures(_FIGURES)["light_ratio"].value
    if coverage is None:
        return _check("light", "Not judged before the boards are found.", limit=limit)
    outlines = [*(scale.target_px if scale is not None else ()), *(b.outline_px for b in _boards(regions))]
    ratio = light_ratio(photo.rgb, coverage.board, outlines)
    if ratio is None:
        return _check("light", "Too little of the ground is in sight to judge the light.", limit=limit)
    told = (notice("light-uneven", ratio=ratio),) if ratio > limit else ()
    text = f"The ground is {ratio:.1f} times brighter in one place than in another."
    return _check("light", text, ratio, limit, is_good=not told, told=told)


def _boards(regions: Regions | None) -> tuple[Board, ...]:
    return () if regions is None else regions.boards
