"""Archives of corrections become one folder of training pictures."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest

from grader.coverage.training.archives import as_folders


def archive(path: Path, name: str) -> Path:
    with zipfile.ZipFile(path, "w") as made:
        made.writestr("README.txt", "")
        made.writestr("meta.json", json.dumps({name: {"repo": name}}))
        made.writestr(f"images/{name}.jpg", b"picture")
        made.writestr(f"masks/{name}_kind.txt", "pads")
    return path


def test_archives_share_a_folder_that_names_all_their_photos(tmp_path: Path) -> None:
    given = [tmp_path / "renders", archive(tmp_path / "a.zip", "one"), archive(tmp_path / "b.ZIP", "two")]
    into = tmp_path / "unpacked"
    assert as_folders(given, into) == [tmp_path / "renders", into]
    assert {p.name for p in into.rglob("*") if p.is_file()} == {
        "meta.json", "one.jpg", "two.jpg", "one_kind.txt", "two_kind.txt",
    }  # fmt: skip
    assert json.loads((into / "meta.json").read_text("utf-8")) == {"one": {"repo": "one"}, "two": {"repo": "two"}}


def test_folders_alone_stay_as_they_are(tmp_path: Path) -> None:
    assert as_folders([tmp_path], tmp_path / "unpacked") == [tmp_path]
    assert not (tmp_path / "unpacked").exists()


def test_nothing_leaves_the_folder(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as made:
        made.writestr("images/../../outside.jpg", b"")
        made.writestr("elsewhere/x.jpg", b"")
    into = tmp_path / "deep" / "unpacked"
    as_folders([tmp_path / "bad.zip"], into)
    assert not list(tmp_path.glob("outside.jpg"))
    assert not list((tmp_path / "deep").glob("outside.jpg"))
    assert not list(into.rglob("x.jpg"))


def test_what_is_no_archive_is_refused(tmp_path: Path) -> None:
    (tmp_path / "bad.zip").write_bytes(b"no archive")
    with pytest.raises(zipfile.BadZipFile):
        as_folders([tmp_path / "bad.zip"], tmp_path / "unpacked")
