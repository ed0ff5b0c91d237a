"""Scale from pictures of targets: right, or refused with a reason, never silently wrong."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import ScaleError
from calibration.from_target import find_own_target, scale_from_target
from calibration.scale import Scale
from calibration.target import TargetDescription, own_target
from calibration.view import View as Seen
from tests.drawn_sheets import View, coverage, picture, sheet_paint

TARGET = TargetDescription("DICT_5X5_100", 7, 5, 8.0, 6.0, origin_mm=(4.0, 4.0), sheet_mm=(64.0, 48.0))
HEIGHT = Distribution("constant", (1.6,))
TRUE_SIZE = Distribution("constant", (1.0,))


def view_of(seed: int, tilt: float | None = None, distance: float | None = None) -> View:
    rng = np.random.default_rng(seed)
    return View(
        width=800,
        height=600,
        focal_px=600.0,
        tilt_deg=rng.uniform(0, 22) if tilt is None else tilt,
        turn_deg=rng.uniform(0, 360),
        roll_deg=rng.uniform(0, 360),
        distance_mm=rng.uniform(82, 100) if distance is None else distance,
        look_at_mm=(36.0, 28.0),
        k1=rng.uniform(-0.03, 0.03),
    )


@cache
def photo(seed: int, tilt: float | None = None) -> np.ndarray:
    return picture(view_of(seed, tilt), sheet_paint(TARGET), seed=seed)


def seen(rgb: np.ndarray, focal_px: float | None = None) -> Seen:
    return Seen(rgb.shape, focal_px, "p")


def measure(rgb: np.ndarray, focal_px: float | None = None, photo_id: str = "p", **options: object) -> Scale:
    given: dict[str, object] = {"face_height_mm": HEIGHT, "print_factor": TRUE_SIZE, **options}
    view = Seen(rgb.shape, focal_px, photo_id)
    return scale_from_target(rgb, TARGET, view, **given)  # type: ignore[arg-type]


def disc_area(
    scale: Scale, view: View, height_mm: float = 1.6, turn: Callable[..., np.ndarray] = lambda a: a
) -> float:
    """Area over truth of a disc of 12 mm in the middle of the picture, minus 1."""
    middle = view.intersect(np.array([[(view.width - 1) / 2, (view.height - 1) / 2]]), height_mm)[0]
    share = turn(coverage(view, lambda mm: np.hypot(*(mm - middle).T) < 6.0, height_mm, 8))
    y, x = np.nonzero(share)
    area = np.sum(share[y, x] * scale.plane.pixel_area_mm2(np.column_stack([x, y]).astype(float)))
    return float(area / (np.pi * 36.0) - 1)


def held(scale: Scale, error: float) -> bool:
    """Whether the truth lies in the 95 % range of the scale's own budget."""
    product = np.prod([i.draws(4000) for i in scale.area_inputs], axis=0)
    low, high = np.quantile(product, [0.025, 0.975])
    return bool(low <= 1 / (1 + error) <= high)


@pytest.mark.parametrize("seed", range(8))
def test_areas_at_random_pose_with_unknown_lens_and_focal_length(seed: int) -> None:
    scale, view = measure(photo(seed)), view_of(seed)
    error = disc_area(scale, view)
    assert abs(error) < 5e-3
    assert held(scale, error)
    assert scale.tilt_deg == pytest.approx(view.tilt_deg, abs=2.5)
    assert scale.method == "target"


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_turning_the_picture_leaves_areas_alone(quarter_turns: int) -> None:
    def turn(image: np.ndarray) -> np.ndarray:
        return np.ascontiguousarray(np.rot90(image, quarter_turns))

    upright = disc_area(measure(photo(1)), view_of(1))
    assert disc_area(measure(turn(photo(1))), view_of(1), turn=turn) == pytest.approx(upright, abs=2e-4)


def test_halving_the_picture_leaves_areas_alone() -> None:
    def half(image: np.ndarray) -> np.ndarray:
        parts = image.reshape(300, 2, 400, 2, *image.shape[2:])
        return parts.mean(axis=(1, 3)).astype(image.dtype)

    scale = measure(half(photo(2)))
    assert disc_area(scale, view_of(2), turn=half) == pytest.approx(
        disc_area(measure(photo(2)), view_of(2)), abs=4e-3
    )
    assert scale.px_per_mm == pytest.approx(measure(photo(2)).px_per_mm / 2, rel=2e-3)


def test_stated_size_times_k_is_area_times_k_squared() -> None:
    larger = TargetDescription("DICT_5X5_100", 7, 5, 8.8, 6.6, origin_mm=(4.4, 4.4))
    at_sheet = Distribution("constant", (0.0,))
    small = measure(photo(3), face_height_mm=at_sheet)
    large = scale_from_target(photo(3), larger, seen(photo(3)), face_height_mm=at_sheet, print_factor=TRUE_SIZE)
    places = np.array([[100.0, 100.0], [400.0, 300.0], [700.0, 500.0]])
    ratio = large.plane.pixel_area_mm2(places) / small.plane.pixel_area_mm2(places)
    np.testing.assert_allclose(ratio, 1.21, rtol=1e-6)


def test_measured_bar_is_used() -> None:
    at_sheet = Distribution("constant", (0.0,))
    full = measure(photo(3), face_height_mm=at_sheet)
    shrunk = measure(photo(3), face_height_mm=at_sheet, print_factor=Distribution("lognormal", (0.98, 0.001)))
    assert shrunk.px_per_mm == pytest.approx(full.px_per_mm / 0.98, rel=1e-6)
    print_size = next(i for i in shrunk.area_inputs if i.name == f"print-size:{TARGET.name}")
    assert np.std(print_size.draws(20_000)) == pytest.approx(0.002, rel=0.05)


def test_inputs_of_the_photo_hold_its_name_and_the_print_size_does_not() -> None:
    names = {i.name for i in measure(photo(0), photo_id="abc123").area_inputs}
    assert names == {"scale-fit:abc123", "face-height:abc123", f"print-size:{TARGET.name}"}


def test_thicker_boards_measure_smaller() -> None:
    thin, thick = (measure(photo(0), face_height_mm=Distribution("constant", (h,))) for h in (0.8, 2.4))
    place = np.array([[400.0, 300.0]])
    assert thick.plane.pixel_area_mm2(place) < thin.plane.pixel_area_mm2(place)


def test_focal_length_from_exif_is_not_announced_as_estimated() -> None:
    assert "focal-estimated" in {n.code for n in measure(photo(0)).notices}
    assert "focal-estimated" not in {n.code for n in measure(photo(0), focal_px=600.0).notices}


def covered(rgb: np.ndarray, view: View, share: float) -> np.ndarray:
    """The picture with a green board over a share of the sheet's columns."""
    x = np.stack(np.meshgrid(np.arange(800), np.arange(600)), axis=-1).reshape(-1, 2).astype(float)
    over = (view.intersect(x)[:, 0] < share * 64.0).reshape(600, 800)
    out = rgb.copy()
    out[over] = (30, 90, 50)
    return out


def outcome(rgb: np.ndarray) -> Scale | ScaleError:
    try:
        return measure(rgb)
    except ScaleError as error:
        return error


@pytest.mark.parametrize("share", [0.2, 0.35, 0.5, 0.65, 0.8, 0.95])
@pytest.mark.parametrize("seed", [0, 4])
def test_covered_target_is_right_or_refused(seed: int, share: float) -> None:
    view = view_of(seed)
    got = outcome(covered(photo(seed), view, share))
    if isinstance(got, ScaleError):
        assert share >= 0.5, "so much of the target is enough"
        assert any(c.isdigit() for c in got.message)
        assert "whole target" in got.advice
    else:
        assert held(got, disc_area(got, view))
        assert "target-partly-seen" in {n.code for n in got.notices}
        assert got.relative_uncertainty() >= measure(photo(seed)).relative_uncertainty()


def bent(height_mm: float) -> Callable[[np.ndarray], np.ndarray]:
    """A sheet curled up along its middle, flat on the table at both ends."""
    return lambda mm: height_mm * np.sin(np.clip(mm[:, 0] / 64.0, 0, 1) * np.pi)


@pytest.mark.parametrize("height_mm", [0.3, 1.0, 2.0, 3.0, 8.0])
@pytest.mark.parametrize(("seed", "tilt"), [(5, 12.0), (2, 0.0)])
def test_bent_target_is_right_in_its_range_or_refused(seed: int, tilt: float, height_mm: float) -> None:
    view = view_of(seed, tilt=tilt)
    got = outcome(picture(view, sheet_paint(TARGET), bump=bent(height_mm)))
    if isinstance(got, ScaleError):
        assert got.code in {"target-contradicts", "lens-implausible"}
        assert "flat" in got.advice
        assert height_mm >= 3.0, "this is still flat enough"
    else:
        assert held(got, disc_area(got, view))
        if height_mm >= 3.0:
            assert "target-bent" in {n.code for n in got.notices}


def test_no_target_is_refused() -> None:
    grey = np.random.default_rng(0).integers(90, 160, (600, 800, 3)).astype(np.uint8)
    with pytest.raises(ScaleError) as caught:
        measure(grey)
    assert caught.value.code == "target-not-found"
    assert caught.value.exit_code == 3


def test_a_picture_of_one_pixel_is_refused() -> None:
    with pytest.raises(ScaleError):
        measure(np.zeros((1, 1, 3), dtype=np.uint8))


def test_another_dictionary_is_not_taken_for_the_target() -> None:
    other = TargetDescription("DICT_6X6_100", 7, 5, 8.0, 6.0)
    with pytest.raises(ScaleError):
        scale_from_target(photo(0), other, seen(photo(0)))


@pytest.mark.parametrize("legacy", [False, True])
def test_both_patterns_of_even_boards_are_found_whatever_the_description_says(legacy: bool) -> None:
    drawn = TargetDescription("DICT_5X5_100", 6, 4, 9.0, 6.75, legacy_pattern=legacy, origin_mm=(4.0, 4.0))
    view = view_of(6)
    rgb = picture(view, sheet_paint(drawn))
    for stated in (False, True):
        target = TargetDescription("DICT_5X5_100", 6, 4, 9.0, 6.75, legacy_pattern=stated, origin_mm=(4.0, 4.0))
        scale = scale_from_target(rgb, target, seen(rgb), face_height_mm=HEIGHT)
        assert abs(disc_area(scale, view)) < 6e-3


class TestOwnTarget:
    VIEW = View(1200, 900, 900.0, 9.0, 70.0, 160.0, 330.0, (90.0, 70.0), 0.02)

    @pytest.mark.parametrize("paper", ["a4", "letter"])
    def test_found_without_being_told(self, paper: str) -> None:
        target = own_target(paper)  # type: ignore[arg-type]
        rgb = picture(self.VIEW, sheet_paint(target))
        scale = find_own_target(rgb, seen(rgb), face_height_mm=HEIGHT, print_factor=TRUE_SIZE)
        assert scale is not None
        assert abs(disc_area(scale, self.VIEW)) < 6e-3
        assert f"print-size:own-{paper}" in {i.name for i in scale.area_inputs}
        unchecked = find_own_target(rgb, seen(rgb), face_height_mm=HEIGHT)
        assert unchecked is not None
        assert "print-size-unchecked" in {n.code for n in unchecked.notices}
        assert "print-size-unchecked" not in {n.code for n in scale.notices}
        assert unchecked.relative_uncertainty() > scale.relative_uncertainty()

    def test_none_where_there_is_none(self) -> None:
        assert find_own_target(photo(0), seen(photo(0))) is None
        assert (
            find_own_target(np.zeros((30, 40, 3), dtype=np.uint8), seen(np.zeros((30, 40, 3), dtype=np.uint8)))
            is None
        )

    def test_seen_but_unusable_is_refused(self) -> None:
        rgb = picture(self.VIEW, sheet_paint(own_target("a4")))
        x = np.stack(np.meshgrid(np.arange(1200), np.arange(900)), axis=-1).reshape(-1, 2).astype(float)
        mm = self.VIEW.intersect(x)
        # all but two markers in one corner lie under something
        rgb[(~((mm[:, 0] < 50) & (mm[:, 1] < 46))).reshape(900, 1200)] = (30, 90, 50)
        with pytest.raises(ScaleError) as caught:
            find_own_target(rgb, seen(rgb))
        assert caught.value.code == "target-too-little"

    def test_outline_holds_the_block(self) -> None:
        rgb = picture(self.VIEW, sheet_paint(own_target("a4")))
        scale = find_own_target(rgb, seen(rgb), print_factor=TRUE_SIZE)
        assert scale is not None
        corners = self.VIEW.project(np.array([[0, 0, 0], [180, 0, 0], [180, 128, 0], [0, 128, 0]], dtype=float))
        for corner in corners:
            assert np.min(np.hypot(*(scale.target_px[0] - corner).T)) < 1.5
