"""Error of a segmenter's area, as inputs of the area; and what the user should know about the picture.

The figures in ``data/error.toml`` were measured on renders that the segmenter was not fitted to.
"""

from __future__ import annotations

import functools
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.inputs import Input
from calibration.notices import Notice, NoticeDefinition, Notices
from calibration.packaged import packaged_toml
from calibration.scale import Scale
from calibration.sourced import load_figures
from grader.coverage.plated import around_plating

notice = Notices(
    NoticeDefinition(
        "contacts-narrow",
        "The photo has {px_per_mm:.1f} px per mm; contacts 0.7 mm wide are only {contact_px:.1f} px wide in it.",
        "Move closer, or use the camera's full resolution.",
    ),
    NoticeDefinition(
        "gold-clipped",
        "{share:.0%} of the plating found is washed out to white, so its edges are uncertain.",
        "Take the photo again without flash or direct lamp light, a little darker.",
    ),
    NoticeDefinition(
        "no-gold-found",
        "No gold-coloured plating was found in the photo.",
        "If there is some, move closer and take the photo again in even daylight and in focus.",
    ),
)


def error_inputs(
    segmenter: str,
    photo_id: str,
    scale: Scale | None,
    share: NDArray[np.uint8],
    doubt: float | None = None,
    contacts: float | None = None,
) -> tuple[Input, ...]:
    """The segmenter's own error on area, a factor about 1; wider with its doubt, or if unknown, for coarse pictures.

    Without scale it is wider than with any, at the same doubt, and wider for pads and planes than for edge contacts.

    Args:
        segmenter: its name, which is also the name of a table in ``data/error.toml``.
        photo_id: the error belongs to this photo alone.
        scale: of the photo.
        share: coverage, uint8 (height, width); where nothing was found there is no error to scale.
        doubt: the segmenter's own, 0..1, if it can tell: Σ p (1 - p) ÷ Σ p of its plated shares p.
        contacts: share of the plating found that is edge contacts, if it can tell.
    """
    if not share.any():
        return ()
    figures = _figures_of(segmenter)
    px_per_mm = scale.px_per_mm if scale else None
    median, sigma = (_by_scale(figures, name, px_per_mm) for name in ("median", "sigma_log"))
    if doubt is not None and scale is not None:
        sigma = _sigma_by_doubt(doubt, figures["doubt"])
    elif doubt is not None:
        by_kind = _between(figures["unscaled"]["pads"], figures["unscaled"]["contacts"], contacts or 0.0)
        median, sigma = by_kind["median"], _sigma_by_doubt(doubt, by_kind)
    return (
        Input(
            "segmentation",
            "telling plating from what looks like it",
            Distribution("lognormal", (median, sigma)),
            figures["source"],
            of=(photo_id,),
        ),
    )


def share_of_contacts(share: NDArray[np.uint8], contact: NDArray[np.uint8] | None) -> float | None:
    """Share of the plating found that is edge contacts, 0..1; None where that is not known or nothing was found.

    Args:
        share: coverage, uint8 (height, width).
        contact: chance of an edge contact, 255 = 1, of the same size.
    """
    around = around_plating(share)
    plated = share[around].astype(np.float32)
    if contact is None or not plated.size:
        return None
    return float((plated * (contact[around] / np.float32(255))).sum() / plated.sum())


def centre_of(segmenter: str, px_per_mm: float) -> float:
    """Median of true area ÷ area found at a scale."""
    return _by_scale(_figures_of(segmenter), "median", px_per_mm)


def _by_scale(figures: dict[str, Any], name: str, px_per_mm: float | None) -> float:
    """A figure at a scale, interpolated on a logarithmic scale; without a scale, the first figure."""
    ladder = np.log(np.asarray(figures["px_per_mm"], np.float64))
    return float(np.interp(ladder[0] if px_per_mm is None else np.log(px_per_mm), ladder, figures[name]))


def _between(pads: dict[str, float], contacts: dict[str, float], share: float) -> dict[str, float]:
    """Figures of plating of which this share is edge contacts and the rest is pads."""
    return {name: figure + share * (contacts[name] - figure) for name, figure in pads.items()}


def _sigma_by_doubt(doubt: float, figures: dict[str, float]) -> float:
    seen = np.clip(doubt, figures["least"], figures["greatest"])
    return float(np.hypot(np.exp(figures["level"] + figures["slope"] * seen), figures["besides"]))


def quality_notices(rgb: NDArray[np.uint8], share: NDArray[np.uint8], scale: Scale | None) -> tuple[Notice, ...]:
    """Notices of what weakens the number: nothing found, gold washed out, picture too coarse."""
    clipped = clipped_share(rgb, share)
    if clipped is None:
        return (notice("no-gold-found"),)
    figures = load_figures("photo_figures")
    found = []
    if clipped > figures["clipped_share"].value:
        found.append(notice("gold-clipped", share=clipped))
    contact_px = contact_width_px(scale)
    if scale is not None and contact_px is not None and contact_px < figures["contact_px_least"].value:
        found.append(notice("contacts-narrow", px_per_mm=scale.px_per_mm, contact_px=contact_px))
    return tuple(found)


def clipped_share(rgb: NDArray[np.uint8], share: NDArray[np.uint8]) -> float | None:
    """Share of the plating found that is washed out to white, 0..1; None where none was found."""
    around = around_plating(share)
    plated = (share[around] > 127).view(np.uint8)
    count = cv2.countNonZero(plated) if plated.size else 0
    if not count:
        return None
    code = load_figures("photo_figures")["clipped_code"].value
    white = cv2.inRange(rgb[around], (code,) * 3, (255.0,) * 3)
    return cv2.countNonZero(white & plated) / count


def contact_width_px(scale: Scale | None) -> float | None:
    """Width of a common edge contact in pixels; None without scale."""
    return None if scale is None else scale.px_per_mm * load_figures("photo_figures")["contact_width"].value


def _figures_of(segmenter: str) -> dict[str, Any]:
    known = _figures()
    if segmenter not in known:
        raise DataFileError(
            "segmenter-unmeasured",
            f"How far the area that the segmenter '{segmenter}' finds may be off was never measured.",
            f"Measure it on renders, and add a table [{segmenter}] to grader/coverage/data/error.toml; or let the "
            "segmenter give its own area_inputs.",
        )
    return dict(known[segmenter])


@functools.cache
def _figures() -> dict[str, Any]:
    return packaged_toml("grader.coverage", "data/error.toml")


def doubt_of(share: NDArray[np.uint8]) -> float:
    """Doubt of the network about what it sees: Σ p (1 - p) ÷ Σ p, 0..1. Blur, glare and look-alikes raise it."""
    p = np.arange(256) / 255
    seen = cv2.calcHist([share], [0], None, [256], [0, 256]).ravel().astype(np.float64) * p
    return float((seen * (1 - p)).sum() / max(float(seen.sum()), 1.0))
