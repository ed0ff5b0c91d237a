"""The whole way for one photo, with the coverage known exactly: every scale, refusals, and what must not matter."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import ScaleError, UsageError
from calibration.face_height import face_height
from calibration.inputs import Input
from calibration.target import TargetDescription, own_target
from calibration.thickness import GoldProperties, gold_properties
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import Automatic, ByLength, ByPitch, ByRectangle, ByTarget, ScaleChoice, WithoutScale
from tests.drawn_boards import KnownCoverage, box, polygon_share, union_share
from tests.drawn_sheets import View, picture, sheet_paint

Turn = Callable[[np.ndarray], np.ndarray]
THICKNESS_MM = 1.6
# boards rarely lie flat on their table; the gap under them is taken as it usually is
FACE_MM = float(np.median(face_height(THICKNESS_MM).parameters))
AS_DRAWN = Distribution("constant", (1.0,))
# beside our own target, in mm of its sheet: a card, its contacts along the lower edge, and a pad
CARD = box((215.0, 64.0), 50.0, 90.0)
CONTACTS = [box((198.0 + 2.5 * i, 102.0), 1.7, 7.6) for i in range(14)]
PLATED = [*CONTACTS, box((215.0, 40.0), 12.0, 9.0)]
TRUE_MM2 = 14 * 1.7 * 7.6 + 12 * 9
# a described ChArUco sheet instead of ours, on the same spot
OTHER = TargetDescription("DICT_5X5_100", 7, 5, 20.0, 15.0, origin_mm=(6.0, 6.0), sheet_mm=(180.0, 128.0))
FOCAL_PX = 800.0


def view(tilt_deg: float = 9.0) -> View:
    return View(
        width=1000,
        height=640,
        focal_px=FOCAL_PX,
        tilt_deg=tilt_deg,
        turn_deg=35.0,
        roll_deg=3.0,
        distance_mm=215.0,
        look_at_mm=(120.0, 64.0),
    )


@cache
def drawn(target: TargetDescription | None, tilt_deg: float = 9.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Photo, coverage and board of the scene above, or of a bare table instead of the target."""
    seen = view(tilt_deg)
    bare = np.full((seen.height, seen.width, 3), 115, np.uint8)
    rgb = picture(seen, sheet_paint(target), fine=3, seed=4) if target else bare

    def at_face(corners_mm: np.ndarray) -> np.ndarray:
        return seen.project(np.column_stack([corners_mm, np.full(4, -FACE_MM)]))

    share = union_share([at_face(c) for c in PLATED], rgb.shape[:2])
    return rgb, share, polygon_share(at_face(CARD), rgb.shape[:2]) > 0.5


def run(
    choice: ScaleChoice,
    scene: tuple[np.ndarray, np.ndarray, np.ndarray],
    turn: Turn = lambda a: a,
    focal_px: float | None = FOCAL_PX,
    **request: object,
) -> Measurement:
    rgb, share, board = (np.ascontiguousarray(turn(a)) for a in scene)
    photo = Photo("scene.png", "ab" * 32, rgb, "PNG", focal_px)
    given: dict[str, object] = {
        "board_thickness_mm": THICKNESS_MM,
        "print_factor": AS_DRAWN,
        "segmenter": KnownCoverage(share, board),
        **request,
    }
    return measure(photo, Request(scale=choice, **given))  # type: ignore[arg-type]


@cache
def usual() -> Measurement:
    """Our own target, nothing out of the ordinary."""
    return run(Automatic(), drawn(own_target("a4")))


def area_of(done: Measurement) -> float:
    """The area itself, its inputs at their medians: Σ coverage × pixel area."""
    assert done.area is not None
    return sum(t.coefficient for t in done.area.total.terms)


def held(done: Measurement, truth: float = TRUE_MM2) -> bool:
    """Whether the truth lies in the middle 98 % of the draws."""
    assert done.area is not None
    low, high = np.quantile(done.area.total.draws(), [0.01, 0.99])
    return bool(low <= truth <= high)


def px(mm: tuple[float, float], tilt_deg: float = 9.0) -> tuple[float, float]:
    x, y = view(tilt_deg).project(np.array([[*mm, -FACE_MM]]))[0]
    return float(x), float(y)


# --- each way to scale


@pytest.mark.parametrize("tilt", [0.0, 9.0, 18.0])
def test_our_own_target_is_found_without_being_told(tilt: float) -> None:
    done = run(Automatic(), drawn(own_target("a4"), tilt))
    assert done.scale is not None
    assert done.scale.method == "target"
    assert area_of(done) == pytest.approx(TRUE_MM2, rel=1e-2)  # the card lies beside the target
    assert held(done)
    assert done.scale.tilt_deg == pytest.approx(tilt, abs=1.5)


def test_a_described_target() -> None:
    done = run(ByTarget(OTHER), drawn(OTHER))
    assert area_of(done) == pytest.approx(TRUE_MM2, rel=5e-3)
    assert held(done)


def test_a_described_target_without_a_focal_length() -> None:
    done = run(ByTarget(OTHER), drawn(OTHER), focal_px=None)
    assert area_of(done) == pytest.approx(TRUE_MM2, rel=1e-2)
    assert held(done)
    assert "focal-estimated" in {n.code for n in done.notices}


def test_a_known_rectangle() -> None:
    corners = tuple(px((x, y)) for x, y in [(190.0, 19.0), (240.0, 19.0), (240.0, 109.0), (190.0, 109.0)])
    done = run(ByRectangle((50.0, 90.0), corners), drawn(None))  # type: ignore[arg-type]
    assert done.scale is not None
    assert done.scale.method == "rectangle"
    assert area_of(done) == pytest.approx(TRUE_MM2, rel=5e-3)
    assert held(done)


def test_a_known_length_on_a_level_camera() -> None:
    done = run(ByLength(90.0, px((190.0, 19.0), 0.0), px((190.0, 109.0), 0.0)), drawn(None, 0.0))
    assert done.scale is not None
    assert done.scale.method == "length"
    assert area_of(done) == pytest.approx(TRUE_MM2, rel=5e-3)
    assert held(done)


@pytest.mark.parametrize("tilt", [9.0, 18.0])
def test_a_known_length_on_a_tilted_camera_is_off_by_no_more_than_it_says(tilt: float) -> None:
    done = run(ByLength(90.0, px((190.0, 19.0), tilt), px((190.0, 109.0), tilt)), drawn(None, tilt))
    assert held(done)
    assert "tilt-unknown" in {n.code for n in done.notices}


def test_a_known_length_is_judged_where_the_plating_is() -> None:
    """Plating beside the marked length is known better than plating at the frame's other end."""
    scene = drawn(None, 0.0)
    near = run(ByLength(90.0, px((190.0, 19.0), 0.0), px((190.0, 109.0), 0.0)), scene)
    far = run(ByLength(90.0, px((20.0, 19.0), 0.0), px((20.0, 109.0), 0.0)), scene)
    assert near.scale is not None
    assert far.scale is not None
    assert near.scale.relative_uncertainty() < 0.7 * far.scale.relative_uncertainty()


def test_without_scale_there_is_a_share_and_no_area() -> None:
    done = run(WithoutScale(), drawn(own_target("a4")))
    assert done.scale is None
    assert done.area is None
    assert done.gold is None
    assert done.refused is None
    assert done.notices[0].code == "no-scale"
    assert done.coverage.share.any()
    assert len(done.regions.regions) == 15


# --- refusals


@pytest.mark.parametrize(
    ("choice", "code"),
    [
        (Automatic(), "no-scale"),
        (ByTarget(OTHER), "target-not-found"),
        (ByPitch(1.27), "no-even-row"),
        (ByRectangle((50.0, 90.0), ((100.0, 100.0), (500.0, 100.0), (900.0, 600.0), (100.0, 150.0))), None),
        (ByLength(90.0, (100.0, 100.0), (105.0, 100.0)), "length-too-short"),
    ],
)
def test_what_cannot_carry_a_scale_is_refused_with_a_reason(choice: ScaleChoice, code: str | None) -> None:
    rgb, share, board = drawn(None)
    nothing_in_rows = np.where(np.arange(1000) > 700, 0.0, share)
    done = run(choice, (rgb, nothing_in_rows, board))
    assert isinstance(done.refused, ScaleError)
    if code is not None:
        assert done.refused.code == code
    assert done.refused.advice
    assert done.scale is None
    assert done.area is None
    assert done.gold is None
    assert done.coverage.share.shape == rgb.shape[:2]


@pytest.mark.parametrize(
    "choice",
    [
        ByLength(90.0, (100.0, 100.0), (5000.0, 100.0)),
        ByLength(-3.0, (100.0, 100.0), (400.0, 100.0)),
        ByRectangle((50.0, 90.0), ((1.0, 1.0), (2.0, 2.0), (3.0, 3.0), (4.0, 4.0))),
        ByRectangle((0.0, 90.0), ((100.0, 100.0), (500.0, 100.0), (500.0, 600.0), (100.0, 600.0))),
    ],
)
def test_a_request_that_cannot_be_is_wrong_use(choice: ScaleChoice) -> None:
    with pytest.raises(UsageError):
        run(choice, drawn(None))


def test_a_board_that_cannot_be_is_wrong_use() -> None:
    with pytest.raises(UsageError):
        run(Automatic(), drawn(own_target("a4")), board_thickness_mm=500.0)


def test_a_target_mostly_hidden_is_refused_or_right() -> None:
    rgb, share, board = drawn(own_target("a4"))
    answers = []
    for hidden in (0.3, 0.6, 0.8, 0.95):
        covered = rgb.copy()
        covered[:, : round(660 * hidden)] = 90
        done = run(Automatic(), (covered, share, board))
        if done.refused is None:
            assert held(done), hidden
        answers.append(done.refused is None)
    assert answers[0]
    assert not answers[-1]


# --- what must not matter


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_turning_the_photo_leaves_the_area_alone(turns: int) -> None:
    scene = drawn(own_target("a4"))
    done = run(Automatic(), scene, turn=lambda a: np.rot90(a, turns))
    assert area_of(done) == pytest.approx(area_of(usual()), rel=1e-3)


@pytest.mark.parametrize("across", [True, False])
def test_mirroring_the_photo_leaves_the_area_alone(across: bool) -> None:
    scene = drawn(None)
    corners = np.array([px(c) for c in [(190.0, 19.0), (240.0, 19.0), (240.0, 109.0), (190.0, 109.0)]])
    mirrored = np.column_stack(
        [999 - corners[:, 0], corners[:, 1]] if across else [corners[:, 0], 639 - corners[:, 1]]
    )
    upright = run(ByRectangle((50.0, 90.0), tuple(map(tuple, corners))), scene)
    flip = np.fliplr if across else np.flipud
    done = run(ByRectangle((50.0, 90.0), tuple(map(tuple, mirrored))), scene, turn=flip)
    assert area_of(done) == pytest.approx(area_of(upright), rel=1e-6)


def test_a_photo_of_half_the_size_leaves_the_area_alone() -> None:
    def half(image: np.ndarray) -> np.ndarray:
        parts = image.reshape(320, 2, 500, 2, *image.shape[2:]).astype(np.float64).mean(axis=(1, 3))
        return parts > 0.5 if image.dtype == bool else parts.astype(image.dtype)

    scene = drawn(own_target("a4"))
    done = run(Automatic(), scene, turn=half, focal_px=FOCAL_PX / 2)
    assert area_of(done) == pytest.approx(area_of(usual()), rel=1.5e-2)  # at 2 px/mm


def test_cropping_leaves_the_area_alone() -> None:
    def cropped(image: np.ndarray) -> np.ndarray:
        return image[20:620, 30:980]

    scene = drawn(own_target("a4"))
    assert cropped(scene[1]).sum() == pytest.approx(scene[1].sum())
    done = run(Automatic(), scene, turn=cropped)
    assert area_of(done) == pytest.approx(area_of(usual()), rel=5e-3)


@pytest.mark.parametrize("gain", [0.85, 1.15])
def test_brightness_leaves_the_area_alone(gain: float) -> None:
    rgb, share, board = drawn(own_target("a4"))
    other = np.clip(rgb * gain, 0, 255).astype(np.uint8)
    done = run(Automatic(), (other, share, board))
    assert area_of(done) == pytest.approx(area_of(usual()), rel=2e-3)


def test_the_same_photo_gives_the_same_answer() -> None:
    first, second = usual(), run(Automatic(), drawn(own_target("a4")))
    assert first.gold is not None
    assert second.gold is not None
    assert np.array_equal(first.gold.total.draws(500), second.gold.total.draws(500))


# --- what must matter


def test_thicker_boards_lie_nearer_and_measure_smaller_by_the_known_factor() -> None:
    """Area goes with the square of the distance: ((D - h2) / (D - h1))², D the camera's height over the sheet."""
    scene = drawn(own_target("a4"), 0.0)
    thin = run(Automatic(), scene, board_thickness_mm=0.8)
    thick = run(Automatic(), scene, board_thickness_mm=3.2)
    assert area_of(thick) / area_of(thin) == pytest.approx(((215 - 3.2) / (215 - 0.8)) ** 2, abs=1.5e-3)
    assert area_of(thick) < area_of(thin)


def test_stated_length_times_k_is_area_and_gold_times_k_squared() -> None:
    ends = px((190.0, 19.0), 0.0), px((190.0, 109.0), 0.0)
    one = run(ByLength(90.0, *ends), drawn(None, 0.0))
    other = run(ByLength(180.0, *ends), drawn(None, 0.0))
    assert area_of(other) / area_of(one) == pytest.approx(4, rel=1e-12)
    assert one.gold is not None
    assert other.gold is not None
    # ranges too, but for the stated length's own error, which is the smaller part of the larger length
    ratio = np.median(other.gold.total.draws()) / np.median(one.gold.total.draws())
    assert ratio == pytest.approx(4, rel=0.1)


def test_a_target_printed_small_makes_areas_smaller() -> None:
    scene = drawn(own_target("a4"))
    full = usual()
    small = run(Automatic(), scene, print_factor=Distribution("constant", (0.97,)))
    # the boards' height over the sheet stays as it is, hence not 0.97² to the last digit
    assert area_of(small) / area_of(full) == pytest.approx(0.97**2, rel=2e-3)
    assert "print-size-unchecked" in {n.code for n in run(Automatic(), scene, print_factor=None).notices}
    assert "print-size-unchecked" not in {n.code for n in full.notices}


def test_contacts_and_pads_get_their_finish_and_their_gold() -> None:
    done = usual()
    assert done.area is not None
    assert done.gold is not None
    hard, soft = (np.median(done.area.by_finish[f].draws()) for f in ("hard_gold", "immersion_gold"))
    assert hard == pytest.approx(14 * 1.7 * 7.6, rel=1e-2)
    assert soft == pytest.approx(108, rel=1e-2)
    assert len(done.regions.boards) == 1
    assert np.median(done.gold.by_finish["hard_gold"].draws()) > np.median(
        done.gold.by_finish["immersion_gold"].draws()
    )


def test_stated_plating_gives_grams_by_hand() -> None:
    """1 cm² × 1 µm × 19.3 g/cm³ = 1.930 mg, through the whole chain."""

    def fixed(thickness_um: float) -> GoldProperties:
        return replace(
            gold_properties()["hard_gold"],
            thickness=_constant("thickness", thickness_um, "um"),
            density=_constant("density", 19.3, "g/cm3"),
            gold_fraction=_constant("fraction", 1.0, ""),
        )

    known = {"hard_gold": fixed(1.0), "immersion_gold": fixed(1.0), "undetermined": fixed(1.0)}
    done = run(Automatic(), drawn(own_target("a4")), properties=known)
    assert done.area is not None
    assert done.gold is not None
    ratio = done.gold.total.draws(200) / done.area.total.draws(200)
    np.testing.assert_allclose(ratio, 1.930e-2, rtol=1e-12)


def _constant(name: str, value: float, unit: str) -> Input:
    return Input(name, name, Distribution("constant", (value,)), "test", unit, of=("test",))


def test_the_segmenters_error_is_in_the_range() -> None:
    rgb, share, board = drawn(own_target("a4"))
    error = Input("segmentation", "segmentation", Distribution("lognormal", (1.0, 0.3)), "test", of=("x",))
    wide = run(Automatic(), (rgb, share, board), segmenter=KnownCoverage(share, board, (error,)))
    narrow = usual()
    assert wide.area is not None
    assert narrow.area is not None
    assert np.std(np.log(wide.area.total.draws())) == pytest.approx(0.3, abs=0.02)
    assert np.std(np.log(narrow.area.total.draws())) < 0.03


def test_each_step_is_announced_as_it_begins() -> None:
    rgb, share, board = drawn(own_target("a4"))
    photo = Photo("scene.png", "ab" * 32, rgb, "PNG", FOCAL_PX)
    steps: list[str] = []
    measure(photo, Request(segmenter=KnownCoverage(share, board)), steps.append)
    assert steps == ["scale", "coverage", "regions", "gold"]
