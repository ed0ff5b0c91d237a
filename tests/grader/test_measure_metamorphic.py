"""What must not move the area of a whole measurement: turning, mirroring, size, cropping, light, and compression.

Each changed photo's area stays within a stated share of the unchanged photo's, and that share lies well inside the
range that the measurement states: so that what a range holds is not used up by such trifles.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from calibration.sourced import load_inputs
from grader.model import Range
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.samples import samples_folder
from grader.scale_choice import Automatic, ByRectangle, ScaleChoice

Change = Callable[[np.ndarray], np.ndarray]


@cache
def sample(name: str) -> Photo:
    return load_photo(samples_folder() / f"{name}.jpg")


@cache
def usual(name: str) -> Measurement:
    return measure(sample(name))


def area(done: Measurement) -> float:
    """The area itself, its inputs at their medians left out: Σ coverage × pixel area."""
    assert done.area is not None, done.refused
    return sum(t.coefficient for t in done.area.total.terms)


def changed(name: str, change: Change, scale: ScaleChoice | None = None, focal: float = 1.0) -> Measurement:
    photo = sample(name)
    rgb = np.ascontiguousarray(change(photo.rgb))
    known = photo.focal_px * focal if photo.focal_px is not None else None
    return measure(
        replace(photo, rgb=rgb, focal_px=known), Request(scale=scale if scale is not None else Automatic())
    )


def moved(one: Measurement, other: Measurement) -> float:
    """Share by which the area moved; the range must hold twice as much."""
    share = abs(area(one) / area(other) - 1)
    assert other.area is not None
    held = Range.of(other.area.total.draws())
    assert share < (held.high - held.low) / 4 / held.value
    return share


def hard_share(done: Measurement) -> float:
    assert done.area is not None
    hard, whole = (Range.of(m.draws()).value for m in (done.area.by_finish["hard_gold"], done.area.total))
    return hard / whole


def resized(k: float) -> Change:
    return lambda rgb: cv2.resize(rgb, None, fx=k, fy=k, interpolation=cv2.INTER_AREA if k < 1 else cv2.INTER_CUBIC)


def brighter(gain: float) -> Change:
    return lambda rgb: np.clip(np.round(rgb * gain), 0, 255).astype(np.uint8)


def compressed(quality: int) -> Change:
    def change(rgb: np.ndarray) -> np.ndarray:
        _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
        return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]

    return change


def daylight(kelvin: float) -> np.ndarray:
    """Linear sRGB of CIE daylight, by the formula for 4000 to 7000 K of CIE 15 (from memory)."""
    x = -4.6070e9 / kelvin**3 + 2.9678e6 / kelvin**2 + 0.09911e3 / kelvin + 0.244063
    y = -3 * x * x + 2.87 * x - 0.275
    to_rgb = [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]]
    return np.asarray(to_rgb) @ [x / y, 1, (1 - x - y) / y]


def warmer(kelvin: float) -> Change:
    gains = (daylight(5500 - kelvin) / daylight(5500)) ** (1 / 2.2)
    return lambda rgb: np.clip(np.round(rgb * gains), 0, 255).astype(np.uint8)


def cropped(rgb: np.ndarray) -> np.ndarray:
    height, width = rgb.shape[:2]
    return rgb[height // 50 : -height // 40, width // 40 : -width // 50]


# a network is no exact symmetry of anything, and half the pixels hold less than all of them
CHANGES: dict[
    str, tuple[Change, float, float]
] = {  # name: change, focal length's factor, most that the area may move
    "quarter turn": (np.rot90, 1.0, 0.03),
    "half turn": (lambda rgb: rgb[::-1, ::-1], 1.0, 0.03),
    "half the size": (resized(0.5), 0.5, 0.08),
    "three quarters of the size": (resized(0.75), 0.75, 0.05),
    "twice the size": (resized(2.0), 2.0, 0.05),
    "cropped": (cropped, 1.0, 0.02),
    "darker": (brighter(0.85), 1.0, 0.04),
    "brighter": (brighter(1.15), 1.0, 0.04),
    "300 K warmer": (warmer(300.0), 1.0, 0.03),
    "300 K colder": (warmer(-300.0), 1.0, 0.03),
    "JPEG 95": (compressed(95), 1.0, 0.02),
    "JPEG 70": (compressed(70), 1.0, 0.04),
}


@pytest.mark.parametrize("name", CHANGES)
def test_edge_contacts_keep_their_area_finish_and_boards(name: str) -> None:
    change, focal, most = CHANGES[name]
    done, before = changed("strip-boards", change, focal=focal), usual("strip-boards")
    assert moved(done, before) < most
    assert hard_share(done) == pytest.approx(hard_share(before), abs=0.05)
    assert len(done.regions.boards) == len(before.regions.boards) == 3
    sizes = [sorted(b.area for b in d.regions.boards) for d in (done, before)]
    assert sizes[0] == pytest.approx(sizes[1], abs=_one_outline_error(before))


def _one_outline_error(done: Measurement) -> float:
    """What an outline drawn as far off as is stated makes of the smallest board's area, mm²."""
    assert done.scale is not None
    most_mm = load_inputs("board_errors")["outline_offset"].distribution.parameters[-1]
    round_px = min(cv2.arcLength(np.asarray(b.outline_px, np.float32), True) for b in done.regions.boards)
    return float(round_px / done.scale.px_per_mm * most_mm)


@pytest.mark.parametrize("name", ["quarter turn", "half the size", "darker", "brighter", "300 K warmer", "JPEG 70"])
def test_pads_keep_their_area(name: str) -> None:
    change, focal, most = CHANGES[name]
    assert moved(changed("breakout-pads", change, focal=focal), usual("breakout-pads")) < most


def test_a_mirrored_photo_keeps_its_area() -> None:
    """A mirrored target is none: the scale comes from a rectangle, marked in both."""
    done = usual("strip-boards")
    assert done.scale is not None
    middle = done.scale.plane.to_mm(np.concatenate([b.outline_px for b in done.regions.boards])).mean(axis=0)
    corners = done.scale.plane.to_px(middle + np.array([[-60, -40], [60, -40], [60, 40], [-60, 40.0]]))
    across = np.column_stack([done.photo.width_px - 1 - corners[:, 0], corners[:, 1]])
    one, other = (
        changed("strip-boards", change, ByRectangle((120.0, 80.0), tuple(map(tuple, points))))
        for change, points in ((lambda rgb: rgb, corners), (np.fliplr, across))
    )
    assert moved(other, one) < 0.03


@pytest.mark.parametrize("name", ["quarter turn", "darker", "JPEG 70"])
def test_no_gold_comes_of_it_where_there_is_none(name: str) -> None:
    change, focal, _ = CHANGES[name]
    done = changed("no-gold", change, focal=focal)
    assert done.coverage.share.mean() / 255 < 2e-4
