"""The row of figures counts what is known, each kind for itself, and leaves out of training by source."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.scale import Scale
from grader.coverage.model import Coverage
from grader.coverage.training import evaluate
from grader.coverage.training.evaluate import PictureResult, judge, pictures, read_truth, table_heading, table_row
from grader.coverage.training.split import held_out
from grader.photo import Photo
from tests.segmenters import default_segmenter


class Half:
    """Says that the left half of every photo is plated."""

    name = "half"
    scale: Scale | None = None

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        self.scale = scale
        share = np.zeros((photo.height_px, photo.width_px), np.uint8)
        share[:, : photo.width_px // 2] = 255
        error = Input.named("segmentation:x", "", Distribution("lognormal", (1.0, 0.1)), "")
        return Coverage(share, share > 0, self.name, (error,), doubt=0.2)


def put(folder: Path, name: str, **masks: np.ndarray | str) -> None:
    for part in ("images", "masks"):
        (folder / part).mkdir(exist_ok=True)
    cv2.imwrite(str(folder / "images" / f"{name}.jpg"), np.full((40, 60, 3), 90, np.uint8))
    for what, value in masks.items():
        path = folder / "masks" / f"{name}_{what}"
        if isinstance(value, str):
            path.with_suffix(".txt").write_text(value, "utf-8")
        else:
            cv2.imwrite(f"{path}.png", value)


def columns(first: int, last: int) -> np.ndarray:
    mask = np.zeros((40, 60), np.uint8)
    mask[:, first:last] = 255
    return mask


def test_only_what_is_known_counts(tmp_path: Path) -> None:
    put(tmp_path, "card", gold=columns(10, 30), known=columns(5, 45), kind="edge", scale="8.5")
    segmenter = Half()
    found = judge(read_truth(tmp_path, "card"), segmenter)
    assert segmenter.scale is not None
    assert segmenter.scale.px_per_mm == 8.5
    assert found.error == pytest.approx(25 / 20 - 1)
    assert found.overlap == pytest.approx(20 / 25)
    assert found.false is None
    assert (found.kind, found.sigma, found.centre, found.doubt) == ("edge", 0.1, 1.0, 0.2)


def test_picture_without_gold_is_judged_by_false_share(tmp_path: Path) -> None:
    put(tmp_path, "wall", kind="none")
    found = judge(read_truth(tmp_path, "wall"), Half())
    assert found.false == pytest.approx(0.5)
    assert found.error is None


def test_walls_of_plated_holes_count_neither_way(tmp_path: Path) -> None:
    classes = columns(0, 10)
    classes[classes > 0] = 11
    put(tmp_path, "0001", gold=columns(10, 30), mask=classes)
    assert judge(read_truth(tmp_path, "0001"), Half()).error == pytest.approx(0)


def test_row_has_a_cell_for_every_kind() -> None:
    def found(kind: str, error: float | None, false: float | None) -> PictureResult:
        overlap = None if error is None else 0.8
        return PictureResult("x", kind, error, overlap, false, None, None, None, None, None, 0.1)

    line = table_row("first", [found("edge", -0.1, None), found("edge", 0.3, None), found("none", None, 0.002)])
    assert line.count("|") == table_heading().splitlines()[0].count("|")
    assert "2: 20.0 / 28 / 30 %, IoU 0.800 / 0.80" in line
    assert "1 bare: false 0.200 / 0.20 %" in line
    assert line.startswith("| first | – |")


def test_photographs_of_one_source_are_held_out_together(tmp_path: Path) -> None:
    names = [f"p{i}" for i in range(200)]
    (tmp_path / "meta.json").write_text(json.dumps({n: {"repo": f"source{i // 10}"} for i, n in enumerate(names)}))
    split = [held_out(tmp_path, n, photograph=True) for n in names]
    assert all(len(set(split[i : i + 10])) == 1 for i in range(0, 200, 10))
    assert 0 < sum(split) < 100


def test_every_render_of_a_scene_is_held_out_together(tmp_path: Path) -> None:
    split = [held_out(tmp_path, f"{i:04}_strip", photograph=False) for i in range(500)]
    assert split == [held_out(tmp_path, f"{i:04}_strip-2b", photograph=False) for i in range(500)]
    assert 25 < sum(split) < 75


def test_pictures_can_be_those_that_training_leaves_out(tmp_path: Path) -> None:
    for i in range(20):
        put(tmp_path, f"{i}", kind="none")
    some = pictures([tmp_path], only_held_out=True)
    assert 0 < len(some) < len(pictures([tmp_path])) == 20


def test_command_prints_a_row(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "wall", kind="none")
    out = tmp_path / "out.json"
    monkeypatch.setattr("sys.argv", ["evaluate", str(tmp_path), "--label", "now", "--json", str(out)])
    evaluate.main()
    assert capsys.readouterr().out.splitlines()[2].startswith("| now |")
    (found,) = json.loads(out.read_text("utf-8"))
    assert found["false"] == 0.0


def test_another_segmenter_is_scored_by_its_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "card", gold=columns(10, 30), kind="edge")
    out = tmp_path / "out.json"
    with default_segmenter(Half) as name:
        monkeypatch.setattr("sys.argv", ["evaluate", str(tmp_path), "--segmenter", name, "--json", str(out)])
        evaluate.main()
    assert "| as shipped |" in capsys.readouterr().out
    (found,) = json.loads(out.read_text("utf-8"))
    assert (found["error"], found["doubt"]) == (0.5, 0.2)


def test_empty_folder_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["evaluate", str(tmp_path)])
    with pytest.raises(SystemExit, match="no pictures"):
        evaluate.main()
