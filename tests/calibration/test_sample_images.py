"""The sample photos: each target is found, and the gold of the true mask measures what the truth says."""

import json
import tomllib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from calibration.detect import find_own_corners
from calibration.distributions import Distribution
from calibration.from_target import find_own_target
from calibration.known import scale_from_length
from calibration.plane import PosedPlane
from calibration.scale import Scale
from calibration.view import View
from grader.photo import load_photo

FOLDER = Path(__file__).parents[2] / "sample_images"
TRUTH: dict[str, dict[str, Any]] = json.loads((FOLDER / "truth.json").read_text("utf-8"))
WITH_TARGET = [name for name, truth in TRUTH.items() if truth["target"]]
WITH_LENGTH = [name for name, truth in TRUTH.items() if truth["known_length"]]
TOLERANCE = 5e-3


def exactly(value: float) -> Distribution:
    return Distribution("constant", (value,))


def scale_of(name: str, **options: Distribution) -> Scale:
    photo = load_photo(FOLDER / TRUTH[name]["image"])
    scale = find_own_target(photo.rgb, photo.view, **options)
    assert scale is not None
    return scale


def exact_scale(name: str) -> Scale:
    truth = TRUTH[name]
    return scale_of(
        name,
        face_height_mm=exactly(truth["face_height_mm"]),
        print_factor=exactly(truth["target"]["print_factor"]),
    )


def gold(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Places (n, 2) in px where the true mask shows gold, and its share of each pixel (n,)."""
    with Image.open(FOLDER / TRUTH[name]["gold_mask"]) as mask:
        share = np.asarray(mask) / 255
    y, x = np.nonzero(share)
    return np.column_stack([x, y]).astype(np.float64), share[y, x]


def area_mm2(scale: Scale, name: str) -> float:
    places, share = gold(name)
    return float(np.sum(share * scale.plane.pixel_area_mm2(places)))


def holds(scale: Scale, measured: float, true: float) -> bool:
    """Whether the truth lies in the 95 % range of the scale's own budget."""
    factor = np.prod([i.draws(20_000) for i in scale.area_inputs], axis=0)
    low, high = np.quantile(factor, [0.025, 0.975])
    return bool(low * measured <= true <= high * measured)


@pytest.mark.parametrize("name", WITH_TARGET)
def test_target_is_found_and_the_gold_measures_what_is_true(name: str) -> None:
    truth = TRUTH[name]
    scale = exact_scale(name)
    found = find_own_corners(load_photo(FOLDER / truth["image"]).rgb)
    assert found is not None
    assert found[0] == truth["target"]["paper"]
    assert area_mm2(scale, name) == pytest.approx(truth["plated_mm2"], rel=TOLERANCE, abs=0)
    assert scale.tilt_deg == pytest.approx(truth["tilt_deg"], abs=1)


@pytest.mark.parametrize("name", WITH_TARGET)
def test_outline_of_each_board_at_its_own_height_measures_its_area(name: str) -> None:
    plane = exact_scale(name).plane
    assert isinstance(plane, PosedPlane)
    for board in TRUTH[name]["boards"]:
        outline = plane.at_height(board["face_height_mm"]).to_mm(np.array(board["outline_px"]))
        assert cv2.contourArea(outline.astype(np.float32)) == pytest.approx(board["area_mm2"], rel=TOLERANCE)


@pytest.mark.parametrize("name", WITH_TARGET)
def test_truth_lies_in_the_range_of_one_who_states_nothing(name: str) -> None:
    truth = TRUTH[name]
    scale = scale_of(name)
    board = max(truth["boards"], key=lambda b: b["area_mm2"])
    true, measured = truth["plated_mm2"], area_mm2(scale, name)
    if true == 0:
        outline = scale.plane.to_mm(np.array(board["outline_px"])).astype(np.float32)
        true, measured = board["area_mm2"], cv2.contourArea(outline)
    assert holds(scale, measured, true)
    assert "print-size-unchecked" in {n.code for n in scale.notices}


@pytest.mark.parametrize("name", WITH_LENGTH)
def test_known_length_gives_a_range_that_holds_the_truth(name: str) -> None:
    truth = TRUTH[name]
    photo = load_photo(FOLDER / truth["image"])
    known = truth["known_length"]
    assert find_own_corners(photo.rgb) is None
    scale = scale_from_length(
        View(photo.rgb.shape, id=name), known["length_mm"], known["from_px"], known["to_px"], where_px=gold(name)[0]
    )
    assert holds(scale, area_mm2(scale, name), truth["plated_mm2"])
    assert "tilt-unknown" in {n.code for n in scale.notices}


@pytest.mark.parametrize("name", WITH_LENGTH)
def test_demo_marks_the_known_length_where_it_is(name: str) -> None:
    truth = TRUTH[name]
    photos = {p["file"]: p for p in tomllib.loads((FOLDER / "demo.toml").read_text("utf-8"))["photo"]}
    marked, known = photos[truth["image"]], truth["known_length"]
    assert marked["length"] == f"{known['length_mm']:g} mm"
    assert np.allclose([marked["from"], marked["to"]], [known["from_px"], known["to_px"]], atol=1)


def test_samples_cover_what_they_are_for() -> None:
    assert len(WITH_TARGET) >= 5
    assert WITH_LENGTH
    assert {TRUTH[name]["target"]["paper"] for name in WITH_TARGET} == {"a4", "letter"}
    assert any(truth["plated_mm2"] == 0 for truth in TRUTH.values())
    assert any({c["edge"] for b in t["boards"] for c in b["contacts"]} >= {"left", "right"} for t in TRUTH.values())


@pytest.mark.parametrize("name", TRUTH)
def test_files_fit_together_and_are_small(name: str) -> None:
    truth = TRUTH[name]
    path = FOLDER / truth["image"]
    photo = load_photo(path)
    size = (truth["width_px"], truth["height_px"])
    assert (photo.rgb.shape[1], photo.rgb.shape[0]) == size
    with Image.open(FOLDER / truth["gold_mask"]) as mask:
        assert (mask.mode, mask.size) == ("L", size)
        assert (np.asarray(mask).max() > 0) == (truth["plated_mm2"] > 0)
    assert truth["finger_mm2"] + truth["pad_mm2"] == pytest.approx(truth["plated_mm2"], abs=0.02)
    parts = sum(b["finger_mm2"] + b["pad_mm2"] for b in truth["boards"])
    assert parts == pytest.approx(truth["plated_mm2"], abs=0.05)
    assert (photo.focal_px is None) == (truth["exif_focal_35mm"] is None)
    if photo.focal_px is not None:
        assert photo.focal_px == pytest.approx(truth["focal_px"], rel=0.025)
    assert path.stat().st_size < 1_000_000
