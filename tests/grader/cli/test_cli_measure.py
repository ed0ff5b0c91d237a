"""``grader measure`` as a person and as a script use it."""

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from rich.color import ColorSystem
from typer.testing import CliRunner

from calibration.errors import GraderError
from calibration.scale import Scale
from calibration.synthetic import View, picture, sheet_paint
from calibration.target import TargetDescription
from grader.cli import output
from grader.cli.app import app, main
from grader.coverage import Coverage
from grader.coverage.error import quality_notices
from grader.photo import Photo
from grader.synthetic import GREEN_MASK, TABLE, KnownCoverage, box, contact_row, paint, polygon_share, union_share

SHAPE = (320, 480)
GOLD = (0.80, 0.60, 0.25)
CARD = box((240.0, 150.0), 400.0, 220.0)
SCALE = ("--length", "40 mm", "--from", "40,40", "--to", "440,40")


ROW = union_share([c * 10 for c in contact_row((8.0, 23.3), 32, 1.0, (0.7, 4.3))], SHAPE)
BOARD = polygon_share(CARD, SHAPE)


class Drawn:
    """A segmenter that knows the drawn card and finds nothing on other pictures."""

    name = "classical-1"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        nothing = np.zeros(photo.rgb.shape[:2])
        share, board = (ROW, BOARD) if photo.rgb.shape[:2] == SHAPE else (nothing, nothing)
        found = KnownCoverage(share, board > 0.5, name=self.name).segment(photo, scale)
        return replace(found, notices=quality_notices(photo.rgb, found.share, scale))


@pytest.fixture(autouse=True)
def known_coverage(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    if "real_segmenter" not in request.fixturenames:
        monkeypatch.setattr("grader.measure.default_segmenter", Drawn)


@pytest.fixture
def real_segmenter() -> None:
    """Asked for by tests that leave the default segmenter in its place."""


@pytest.fixture(autouse=True)
def no_stored_check_bar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("grader.cli.measure.print_check_path", lambda: tmp_path / "none" / "print-check.json")


def write_photo(path: Path, seed: int = 0) -> Path:
    """A drawn card with a row of contacts, 10 px per mm."""
    rgb = paint([(np.ones(SHAPE), TABLE), (BOARD, GREEN_MASK), (ROW, GOLD)], blur_px=0.6, noise=2.0, seed=seed)
    assert cv2.imwrite(str(path), rgb[..., ::-1])
    return path


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    return write_photo(tmp_path / "card.png")


@pytest.fixture
def results(tmp_path: Path) -> Path:
    folder = tmp_path / "results"
    folder.mkdir()
    return folder


class Answer:
    """What the command line gave back: exit code, and its two streams as running text."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.raw = code, out
        self.out, self.err = " ".join(out.split()), " ".join(err.split())


@pytest.fixture
def grader(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """Runs the entry point itself, as the installed command does."""

    def call(*arguments: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["grader", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        streams = capsys.readouterr()
        assert "Traceback" not in streams.out + streams.err
        code = left.value.code
        return Answer(code if isinstance(code, int) else 0, streams.out, streams.err)

    return call


# --- measured: exit 0


def test_a_person_gets_areas_gold_and_what_to_know(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, *SCALE)
    assert answer.code == 0
    for words in ("card.png", "480 × 320 px", "known length", "hard gold", "mm²", "mg", "Visible plating only"):
        assert words in answer.out
    assert answer.err == ""


def test_json_coverage_and_overlay_are_written(photo: Path, results: Path, grader: Any, real_segmenter: None) -> None:
    outputs = [results / "m.json", results / "coverage.png", results / "overlay.png"]
    answer = grader("measure", photo, *SCALE, "--json", outputs[0], "--coverage", outputs[1], "--overlay", outputs[2])
    assert answer.code == 0
    assert sorted(results.iterdir()) == sorted(outputs)
    document = json.loads(outputs[0].read_text("utf-8"))
    assert document["scale"]["method"] == "length"
    # 32 contacts of 0.7 × 4.3 mm are 96.3 mm²; the range has to hold them
    assert document["plated_area_mm2"]["low"] < 96.3 < document["plated_area_mm2"]["high"]
    coverage = cv2.imread(str(outputs[1]), cv2.IMREAD_UNCHANGED)
    assert coverage.dtype == np.uint8
    assert coverage.shape == SHAPE
    assert coverage.mean() / 255 == pytest.approx(document["plated_share_of_frame"], rel=1e-6)
    assert cv2.imread(str(outputs[2])).shape == (*SHAPE, 3)


def test_a_dash_prints_the_document_and_nothing_else(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, *SCALE, "--json", "-")
    assert answer.code == 0
    assert json.loads(answer.raw)["photo"] == "card.png"
    assert answer.raw.count("\n") == 1


def test_without_scale_is_measured_as_shares(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, "--no-scale", "--json", "-")
    document = json.loads(answer.raw)
    assert answer.code == 0
    assert document["scale"]["method"] == "none"
    assert document["plated_area_mm2"] is None
    assert 0 < document["plated_share_of_frame"] < 1


def test_a_rectangle(photo: Path, grader: Any) -> None:
    corners = ("40,40", "440,40", "440,260", "40,260")
    answer = grader("measure", photo, "--rectangle", "40 x 22 mm", "--corners", *corners, "--json", "-")
    assert answer.code == 0
    scale = json.loads(answer.raw)["scale"]
    assert scale["known"] == "rectangle"
    assert scale["px_per_mm"] == pytest.approx(10, rel=0.02)


@pytest.mark.parametrize("typed", ["1.0 mm", "0.1 cm", "39.37 mil"])
def test_a_pitch_in_any_unit_of_length(photo: Path, grader: Any, typed: str) -> None:
    answer = grader("measure", photo, "--pitch", typed, "--json", "-")
    assert answer.code == 0
    scale = json.loads(answer.raw)["scale"]
    assert scale["method"] == "pitch"
    assert scale["px_per_mm"] == pytest.approx(10, rel=0.01)


def test_a_described_target(tmp_path: Path, grader: Any) -> None:
    target = TargetDescription("DICT_5X5_100", 7, 5, 8.0, 6.0, origin_mm=(4.0, 4.0), sheet_mm=(64.0, 48.0))
    seen = View(640, 480, 520.0, 5.0, 30.0, 0.0, 80.0, (36.0, 26.0))
    path = tmp_path / "sheet.png"
    cv2.imwrite(str(path), picture(seen, sheet_paint(target), fine=3))
    described = tmp_path / "target.json"
    described.write_text(
        json.dumps(
            {
                "dictionary": "DICT_5X5_100",
                "squares_x": 7,
                "squares_y": 5,
                "square_mm": 8.0,
                "marker_mm": 6.0,
                "charuco_origin_in_sheet_mm": [4.0, 4.0],
                "grey_patches": [],
            }
        )
    )
    answer = grader("measure", path, "--target", described, "--board-thickness", "1.6 mm", "--json", "-")
    assert answer.code == 0
    document = json.loads(answer.raw)
    assert document["scale"]["method"] == "target"
    assert document["scale"]["px_per_mm"] == pytest.approx(520 / (80 - 1.6), rel=0.03)
    assert document["plated_area_mm2"]["value"] == 0
    assert "no-gold-found" in {w["code"] for w in document["warnings"]}


def test_awkward_names_are_shown_as_they_are(tmp_path: Path, grader: Any) -> None:
    path = write_photo(tmp_path / "[red]x[bold] ü.png")
    assert "[red]x[bold] ü.png" in grader("measure", path, *SCALE).out
    refused = grader("measure", path)
    assert refused.code == 3
    assert "[red]x[bold] ü.png" in refused.err


# --- refused: exit 3


def test_no_target_is_refused_and_the_document_still_says_why(photo: Path, results: Path, grader: Any) -> None:
    answer = grader("measure", photo, "--json", results / "m.json", "--overlay", results / "o.png")
    assert answer.code == 3
    document = json.loads((results / "m.json").read_text("utf-8"))
    assert document["refused"]["code"] == "no-scale"
    assert document["plated_area_mm2"] is None
    assert (results / "o.png").exists()
    assert "grader target" in answer.err


def test_a_pitch_without_a_row_is_refused(tmp_path: Path, grader: Any) -> None:
    path = tmp_path / "bare.png"
    cv2.imwrite(str(path), np.full((200, 300, 3), 120, np.uint8))
    answer = grader("measure", path, "--pitch", "1.27 mm")
    assert answer.code == 3
    assert "contacts" in answer.err


# --- wrong use: exit 2, nothing written


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--board-thickness", "30 mic"), "'mic'"),
        (("--board-thickness", "1.6"), "unit"),
        (("--board-thickness", "1.6 kg"), "'kg'"),
        (("--pitch", "fine"), "fine"),
        (("--pitch", "0 mm"), "0 mm"),
        (("--length", "40 mm"), "--from"),
        (("--length", "40 mm", "--from", "40,40", "--to", "here"), "here"),
        (("--length", "40 mm", "--from", "40,40", "--to", "nan,3"), "nan,3"),
        (("--length", "-4 mm", "--from", "40,40", "--to", "440,40"), "-4"),
        (("--length", "40 mm", "--from", "40,40", "--to", "9000,40"), "9000,40"),
        (("--from", "1,2"), "--length"),
        (("--rectangle", "40 x 22 mm"), "--corners"),
        (("--rectangle", "40 mm", "--corners", "1,1", "9,1", "9,9", "1,9"), "40 mm"),
        (("--corners", "1,1", "9,1", "9,9", "1,9"), "--rectangle"),
        (("--pitch", "1 mm", "--no-scale"), "--pitch"),
        (("--target", "missing.json"), "missing.json"),
    ],
)
def test_wrong_use_is_one_error_that_says_what_to_do(
    photo: Path, results: Path, grader: Any, arguments: tuple[str, ...], told: str
) -> None:
    answer = grader("measure", photo, *arguments, "--json", results / "m.json")
    assert answer.code == 2
    assert told in answer.err
    assert "→" in answer.err
    assert answer.out == ""
    assert list(results.iterdir()) == []


def test_a_unit_that_is_none_names_what_would_do(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, "--board-thickness", "30 mic")
    assert "um (micrometre) or uin (microinch)" in answer.err


def test_a_target_file_that_is_none(photo: Path, tmp_path: Path, grader: Any) -> None:
    bad = tmp_path / "t.json"
    bad.write_text('{"dictionary": "DICT_5X5_100"}')
    answer = grader("measure", photo, "--target", bad)
    assert answer.code == 2
    assert "squares_x" in answer.err


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("scan.pdf", b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\n%%EOF\n"),
        ("empty.jpg", b""),
        ("letter.jpg", b"Dear Sir, please find enclosed"),
        ("missing.jpg", None),
        ("cut.jpg", "half"),
    ],
)
def test_files_that_are_no_photo(
    tmp_path: Path, results: Path, grader: Any, name: str, data: bytes | str | None
) -> None:
    path = tmp_path / name
    if data == "half":
        whole = write_photo(tmp_path / "whole.jpg").read_bytes()
        path.write_bytes(whole[: len(whole) // 2])
    elif isinstance(data, bytes):
        path.write_bytes(data)
    answer = grader("measure", path, "--json", results / "m.json", "--coverage", results / "c.png")
    assert answer.code == 2
    assert name in answer.err
    assert "→" in answer.err
    assert list(results.iterdir()) == []


def test_a_folder_is_no_photo(tmp_path: Path, grader: Any) -> None:
    assert grader("measure", tmp_path).code == 2


def test_a_place_that_cannot_be_written_is_said_before_anything_is(photo: Path, results: Path, grader: Any) -> None:
    for bad in (results / "no" / "o.png", results):
        answer = grader("measure", photo, *SCALE, "--json", results / "m.json", "--overlay", bad)
        assert answer.code == 2
        assert bad.name in answer.err
        assert list(results.iterdir()) == []


def test_a_photo_is_never_overwritten(photo: Path, grader: Any) -> None:
    before = photo.read_bytes()
    for option in ("--overlay", "--coverage", "--json"):
        assert grader("measure", photo, *SCALE, option, photo).code == 2
    assert photo.read_bytes() == before


def test_no_photo_and_unknown_options_are_wrong_use(grader: Any) -> None:
    assert grader("measure").code == 2
    assert grader("measure", "--gold").code == 2
    assert grader("mesure").code == 2


# --- several photos


def test_several_photos_with_one_bad_go_on_and_say_so(tmp_path: Path, results: Path, grader: Any) -> None:
    good, other = write_photo(tmp_path / "a.png"), write_photo(tmp_path / "b.png", seed=1)
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"")
    answer = grader("measure", good, bad, other, *SCALE, "--json", results / "m.jsonl")
    assert answer.code == 2
    lines = [json.loads(line) for line in (results / "m.jsonl").read_text("utf-8").splitlines()]
    assert [d["photo"] for d in lines] == ["a.png", "bad.jpg", "b.png"]
    assert lines[1]["error"]["advice"]
    assert lines[0]["plated_area_mm2"]["value"] > 0
    assert lines[2]["plated_area_mm2"]["value"] > 0
    assert "bad.jpg" in answer.out
    assert "not measured" in answer.out


def test_several_good_photos(tmp_path: Path, grader: Any) -> None:
    photos = [write_photo(tmp_path / f"{n}.png", seed=i) for i, n in enumerate("ab")]
    answer = grader("measure", *photos, *SCALE, "--json", "-")
    assert answer.code == 0
    assert [json.loads(line)["photo"] for line in answer.raw.splitlines()] == ["a.png", "b.png"]


def test_several_photos_without_scale_are_refused(tmp_path: Path, grader: Any) -> None:
    photos = [write_photo(tmp_path / f"{n}.png", seed=i) for i, n in enumerate("ab")]
    answer = grader("measure", *photos)
    assert answer.code == 3
    assert answer.out.count("no scale") == 2


def test_pictures_of_several_photos_at_once_are_wrong_use(tmp_path: Path, results: Path, grader: Any) -> None:
    photos = [write_photo(tmp_path / f"{n}.png", seed=i) for i, n in enumerate("ab")]
    assert grader("measure", *photos, *SCALE, "--coverage", results / "c.png").code == 2
    assert list(results.iterdir()) == []


# --- through the runner, and on to the valuation


def test_errors_of_the_project_reach_the_entry_point_as_they_are(photo: Path) -> None:
    result = CliRunner().invoke(app, ["measure", str(photo), "--board-thickness", "30 mic"])
    assert isinstance(result.exception, GraderError)
    assert result.exception.exit_code == 2


def test_what_was_measured_can_be_valued(photo: Path, results: Path, grader: Any) -> None:
    grader("measure", photo, *SCALE, "--json", results / "m.json")
    answer = grader("value", results / "m.json", "--spot", "2650 USD/ozt", "--spot-date", "today")
    assert answer.code == 0
    assert "USD" in answer.out


def test_a_stored_check_bar_is_used(tmp_path: Path, grader: Any) -> None:
    """A wrong file is an error, so the file is read; without one the usual place is looked at."""
    bad = tmp_path / "bar.json"
    bad.write_text("{}")
    assert grader("measure", write_photo(tmp_path / "c.png"), *SCALE, "--calibration", bad).code == 2


# --- folders, patterns, pipes and terminals


def folder_of_photos(tmp_path: Path) -> Path:
    folder = tmp_path / "shelf"
    folder.mkdir()
    for i, name in enumerate(("b.PNG", "a.png")):
        write_photo(folder / name, seed=i)
    (folder / "notes.txt").write_text("no photo")
    (folder / "._a.png").write_bytes(b"a companion that some systems leave")
    (folder / "below").mkdir()
    write_photo(folder / "below" / "c.png")
    return folder


@pytest.mark.parametrize("named", [("",), ("*.[pP]*",), ("a.png", "", "./a.png", "b.PNG")])
def test_a_folder_or_a_pattern_stands_for_its_photos_each_once(
    tmp_path: Path, grader: Any, named: tuple[str, ...]
) -> None:
    folder = folder_of_photos(tmp_path)
    answer = grader("measure", *(f"{folder}/{name}" for name in named), *SCALE, "--json", "-")
    assert answer.code == 0
    assert sorted(json.loads(line)["photo"] for line in answer.raw.splitlines()) == ["a.png", "b.PNG"]


def test_a_file_whose_name_is_also_a_pattern_is_that_file(tmp_path: Path, grader: Any) -> None:
    path = write_photo(tmp_path / "a[1].png")
    write_photo(tmp_path / "a1.png", seed=1)
    assert json.loads(grader("measure", path, *SCALE, "--json", "-").raw)["photo"] == "a[1].png"


def test_a_pattern_that_nothing_fits_is_wrong_use(tmp_path: Path, grader: Any) -> None:
    answer = grader("measure", tmp_path / "*.jpg")
    assert answer.code == 2
    assert "No photo fits" in answer.err


def test_many_end_with_a_table_of_what_failed_and_why(tmp_path: Path, grader: Any) -> None:
    folder = folder_of_photos(tmp_path)
    (folder / "c.jpg").write_bytes(b"")
    answer = grader("measure", folder, *SCALE)
    lines = answer.raw.splitlines()
    assert answer.code == 2
    assert "1 of 3 failed" in lines
    (why,) = (line.split("\t") for line in lines if line.startswith("c.jpg\t") and "not measured" not in line)
    assert len(why) == 3
    assert all(why)
    refused = grader("measure", folder / "a.png", folder / "b.PNG")
    assert refused.code == 3
    assert "2 of 2 failed" in refused.out


def test_a_folder_takes_the_pictures_of_many(tmp_path: Path, results: Path, grader: Any) -> None:
    folder = folder_of_photos(tmp_path)
    assert grader("measure", folder, *SCALE, "--overlay", results).code == 0
    assert sorted(p.name for p in results.iterdir()) == ["a-overlay.png", "b-overlay.png"]
    assert grader("measure", folder, folder / "below" / "c.png", *SCALE, "--coverage", results / "no").code == 2
    write_photo(folder / "a.webp")
    answer = grader("measure", folder, *SCALE, "--overlay", results)
    assert answer.code == 2
    assert "Two photos are called a" in answer.err


def test_a_pipe_gets_plain_text_with_tabs(photo: Path, grader: Any) -> None:
    raw = grader("measure", photo, *SCALE).raw
    assert "\x1b" not in raw
    assert any(line.startswith("hard gold\t") for line in raw.splitlines())


@pytest.mark.parametrize("no_colour", [False, True])
def test_a_terminal_gets_a_table_and_colour_unless_none_is_wanted(
    photo: Path, grader: Any, monkeypatch: pytest.MonkeyPatch, no_colour: bool
) -> None:
    for console in (output.out, output.err):
        monkeypatch.setattr(console, "_force_terminal", True)
        monkeypatch.setattr(console, "_color_system", ColorSystem.STANDARD)
        monkeypatch.setattr(console, "no_color", no_colour)
    raw = grader("measure", photo, "--no-scale").raw
    assert ("\x1b[33m" in raw) is not no_colour
    assert "\t" not in grader("measure", photo, *SCALE).raw
