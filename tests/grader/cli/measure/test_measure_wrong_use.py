"""Wrong use of ``grader measure``, and files that are no photo: exit code 2, and nothing is written."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from calibration.errors import GraderError
from grader.cli.app import app

SCALE = ("--length", "40 mm", "--from", "40,40", "--to", "440,40")


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
    tmp_path: Path, results: Path, grader: Any, name: str, data: bytes | str | None, write_photo: Callable[..., Path]
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


def test_errors_of_the_project_reach_the_entry_point_as_they_are(photo: Path) -> None:
    result = CliRunner().invoke(app, ["measure", str(photo), "--board-thickness", "30 mic"])
    assert isinstance(result.exception, GraderError)
    assert result.exception.exit_code == 2


def test_a_stored_check_bar_is_used(tmp_path: Path, grader: Any, write_photo: Callable[..., Path]) -> None:
    """A wrong file is an error, so the file is read; without one the usual place is looked at."""
    bad = tmp_path / "bar.json"
    bad.write_text("{}")
    assert grader("measure", write_photo(tmp_path / "c.png"), *SCALE, "--calibration", bad).code == 2
