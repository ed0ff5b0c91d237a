"""Scale from a row of contacts of published pitch, and a check of another scale against that pitch."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import ScaleError
from calibration.known import scale_from_length
from calibration.notices import Notice, NoticeDefinition, Notices
from calibration.scale import Scale
from calibration.sourced import load_figures
from calibration.view import View

_LEAST = 6
_TITLES = {
    "scale-marking": "places of the contacts in the photo",
    "scale-stated": "places of the contacts on the board",
}

notice = Notices(
    NoticeDefinition(
        "scale-from-contacts",
        "Nothing else in the photo gave a scale, so it was taken from a row that fits {family} "
        "({total} contacts on a face, pitch {pitch_mm:g} mm).",
        "If the boards are something else, give a known length, or lay the printed target beside them.",
    ),
    NoticeDefinition(
        "pitch-contradicts-scale",
        "A row fits {family} ({total} contacts on a face), whose pitch is {pitch_mm:.3f} mm, but "
        "by the scale it is {measured_mm:.3f} mm ({percent:+.1f} %; if both were right, they would "
        "agree within {allowed:.1f} %).",
        "Check what gave the scale (the print's check bar, the stated length, the marked points), "
        "and that the boards lie flat beside it; or measure by the contacts instead.",
    ),
)


@dataclass(frozen=True, eq=False)
class ContactLine:
    """Contacts of a published outline in a photo.

    Attributes:
        family: title of the outline.
        pitch_mm: published.
        places: of the contacts along the row, in pitches, float64 (n,).
        centres_px: their centres in the photo, float64 (n, 2).
        total: number of contacts of the outline, seen or not.
    """

    family: str
    pitch_mm: float
    places: FloatArray
    centres_px: FloatArray
    total: int

    @property
    def length_mm(self) -> float:
        """Length from the first contact to the last, centre to centre."""
        return float(np.ptp(self.places)) * self.pitch_mm

    def px_per_mm(self) -> float:
        """Scale along the row."""
        first, last, _ = self.ends_px()
        return float(np.hypot(*(last - first))) / self.length_mm

    def relative_sd(self) -> float:
        """Relative standard deviation of that scale from the places of the contacts alone."""
        first, last, centre_sd_px = self.ends_px()
        return math.sqrt(2) * math.hypot(
            centre_sd_px / float(np.hypot(*(last - first))),
            load_figures("scale_figures")["contact_place_sd"].value / self.length_mm,
        )

    def ends_px(self) -> tuple[FloatArray, FloatArray, float]:
        """First and last centre on the best line for all, (2,) each, and one centre's standard deviation in px.

        Along the line, evenly spaced points are seen at (a + b t) / (1 + c t).
        """
        middle = self.centres_px.mean(axis=0)
        _, _, axes = np.linalg.svd(self.centres_px - middle, full_matrices=False)
        along = (self.centres_px - middle) @ axes[0]
        t = (self.places - self.places.mean()) / max(float(np.ptp(self.places)), 1.0)
        rows = np.column_stack([np.ones(len(t)), t, -t * along])
        (a, b, c), *_ = np.linalg.lstsq(rows, along, rcond=None)
        fitted = (a + b * t) / (1 + c * t)
        spread = float(np.sqrt(np.sum((along - fitted) ** 2) / max(len(t) - 3, 1)))
        first, last = (middle + fitted[i] * axes[0] for i in (0, -1))
        return (
            np.asarray(first),
            np.asarray(last),
            max(spread, load_figures("scale_figures")["contact_centre_sd_floor"].value),
        )


def scale_from_contacts(
    view: View,
    line: ContactLine,
    *,
    where_px: FloatArray | None = None,
) -> Scale:
    """Scale from contacts of a published pitch: they lie in the plane that is to be measured.

    Args:
        view: of the photo.
        line: the contacts.
        where_px: places (n, 2) that stand for the area to be measured; None for anywhere about the row.

    Raises:
        ScaleError: too few contacts, or too short a row.
    """
    if len(line.places) < _LEAST:
        raise ScaleError(
            "contacts-too-few",
            f"{len(line.places)} contacts are too few to give a scale.",
            "Move closer and take the photo again in focus, or give a known length.",
        )
    first, last, centre_sd_px = line.ends_px()
    scale = scale_from_length(
        view,
        line.length_mm,
        (float(first[0]), float(first[1])),
        (float(last[0]), float(last[1])),
        marking_sd_px=centre_sd_px,
        length_sd_mm=math.sqrt(2) * load_figures("scale_figures")["contact_place_sd"].value,
        where_px=where_px,
    )
    inputs = tuple(
        replace(i, title=_TITLES.get(i.kind, i.title))
        for i in scale.area_inputs
        if i.kind != "face-height"  # the contacts lie on the face itself
    )
    return replace(scale, method="pitch", area_inputs=inputs)


def told_by_contacts(line: ContactLine) -> Notice:
    """The notice for a scale from contacts alone."""
    return notice("scale-from-contacts", total=line.total, family=line.family, pitch_mm=line.pitch_mm)


def contradiction(line: ContactLine, scale: Scale) -> Notice | None:
    """A warning if a published pitch and a scale from another source disagree beyond their uncertainties."""
    first, last, centre_sd_px = line.ends_px()
    ends = scale.plane.to_mm(np.array([first, last]))
    measured = float(np.hypot(*(ends[1] - ends[0])))
    if not (math.isfinite(measured) and measured > 0):
        return None
    figures = load_figures("scale_figures")
    seen = float(np.hypot(*(last - first)))
    combined = math.hypot(
        scale.relative_uncertainty(),
        math.sqrt(2) * figures["contact_place_sd"].value / line.length_mm,
        math.sqrt(2) * centre_sd_px / seen,
    )
    allowed = figures["pitch_contradiction"].value * combined
    if abs(math.log(measured / line.length_mm)) <= allowed:
        return None
    ratio = measured / line.length_mm
    return notice(
        "pitch-contradicts-scale",
        total=line.total,
        family=line.family,
        pitch_mm=line.pitch_mm,
        measured_mm=line.pitch_mm * ratio,
        percent=100 * (ratio - 1),
        allowed=100 * allowed,
    )
