"""``grader measure`` on several photos, folders and patterns: a bad one does not stop the others."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

SCALE = ("--length", "40 mm", "--from", "40,40", "--to", "440,40")


@pytest.fixture
def shelf(tmp_path: Path, write_photo: Callable[..., Path]) -> Path:
    """A folder of two photos, with other files beside them and a photo in a folder below."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    for i, name in enumerate(("b.PNG", "a.png")):
        write_photo(folder / name, seed=i)
    (folder / "notes.txt").write_text("no photo")
    (folder / "._a.png").write_bytes(b"a companion that some systems leave")
    (folder / "below").mkdir()
    write_photo(folder / "below" / "c.png")
    return folder


def test_several_photos_with_one_bad_go_on_and_say_so(
    tmp_path: Path, results: Path, grader: Any, write_photo: Callable[..., Path]
) -> None:
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


def test_several_good_photos(tmp_path: Path, grader: Any, write_photo: Callable[..., Path]) -> None:
    photos = [write_photo(tmp_path / f"{n}.png", seed=i) for i, n in enumerate("ab")]
    answer = grader("measure", *photos, *SCALE, "--json", "-")
    assert answer.code == 0
    assert [json.loads(line)["photo"] for line in answer.raw.splitlines()] == ["a.png", "b.png"]


def test_several_photos_without_scale_are_refused(
    tmp_path: Path, grader: Any, write_photo: Callable[..., Path]
) -> None:
    photos = [write_photo(tmp_path / f"{n}.png", seed=i) for i, n in enumerate("ab")]
    answer = grader("measure", *photos)
    assert answer.code == 3
    assert answer.out.count("no scale") == 2


def test_pictures_of_several_photos_at_once_are_wrong_use(
    tmp_path: Path, results: Path, grader: Any, write_photo: Callable[..., Path]
) -> None:
    photos = [write_photo(tmp_path / f"{n}.png", seed=i) for i, n in enumerate("ab")]
    assert grader("measure", *photos, *SCALE, "--coverage", results / "c.png").code == 2
    assert list(results.iterdir()) == []


@pytest.mark.parametrize("named", [("",), ("*.[pP]*",), ("a.png", "", "./a.png", "b.PNG")])
def test_a_folder_or_a_pattern_stands_for_its_photos_each_once(
    tmp_path: Path, grader: Any, shelf: Path, named: tuple[str, ...]
) -> None:
    answer = grader("measure", *(f"{shelf}/{name}" for name in named), *SCALE, "--json", "-")
    assert answer.code == 0
    assert sorted(json.loads(line)["photo"] for line in answer.raw.splitlines()) == ["a.png", "b.PNG"]


def test_a_file_whose_name_is_also_a_pattern_is_that_file(
    tmp_path: Path, grader: Any, write_photo: Callable[..., Path]
) -> None:
    path = write_photo(tmp_path / "a[1].png")
    write_photo(tmp_path / "a1.png", seed=1)
    assert json.loads(grader("measure", path, *SCALE, "--json", "-").raw)["photo"] == "a[1].png"


def test_a_pattern_that_nothing_fits_is_wrong_use(tmp_path: Path, grader: Any) -> None:
    answer = grader("measure", tmp_path / "*.jpg")
    assert answer.code == 2
    assert "No photo matches" in answer.err


def test_many_end_with_a_table_of_what_failed_and_why(tmp_path: Path, grader: Any, shelf: Path) -> None:
    (shelf / "c.jpg").write_bytes(b"")
    answer = grader("measure", shelf, *SCALE)
    lines = answer.raw.splitlines()
    assert answer.code == 2
    assert "1 of 3 failed" in lines
    (why,) = (line.split("\t") for line in lines if line.startswith("c.jpg\t") and "not measured" not in line)
    assert len(why) == 3
    assert all(why)
    refused = grader("measure", shelf / "a.png", shelf / "b.PNG")
    assert refused.code == 3
    assert "2 of 2 failed" in refused.out


def test_a_folder_takes_the_pictures_of_many(
    results: Path, grader: Any, shelf: Path, write_photo: Callable[..., Path]
) -> None:
    assert grader("measure", shelf, *SCALE, "--overlay", results).code == 0
    assert sorted(p.name for p in results.iterdir()) == ["a-overlay.png", "b-overlay.png"]
    assert grader("measure", shelf, shelf / "below" / "c.png", *SCALE, "--coverage", results / "no").code == 2
    write_photo(shelf / "a.webp")
    answer = grader("measure", shelf, *SCALE, "--overlay", results)
    assert answer.code == 2
    assert "Two photos are called a" in answer.err
