"""Pictures become rows; rows are kept once, whatever happens."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, get_args

import cv2
import fsspec
import pytest

from grader.market import pictures
from grader.market.pictures import FAILED, KNOWN, MEASURED, measure_batch, stamp_of
from grader.market.results import Form, Results
from grader.market.run import measure_pictures
from grader.request import Request
from grader.samples import samples_folder

REQUEST = Request()


def row(content: str, state: str = MEASURED, stamp: str = "s", code: str = "") -> dict[str, Any]:
    return dict.fromkeys(pictures.COLUMNS, "") | {"content": content, "state": state, "stamp": stamp, "code": code}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three pictures: two are the same, one is none."""
    place = tmp_path_factory.mktemp("pictures")
    small = cv2.resize(cv2.imread(str(samples_folder() / "memory-modules.jpg")), None, fx=0.3, fy=0.3)
    cv2.imwrite(str(place / "a.png"), small)
    (place / "b.png").write_bytes((place / "a.png").read_bytes())
    (place / "c.png").write_bytes(b"no picture")
    return place


def test_a_bad_picture_stops_no_other(folder: Path) -> None:
    bad, good = measure_batch([str(folder / "c.png"), str(folder / "a.png")], REQUEST.as_json())
    assert (bad["state"], good["state"]) == (FAILED, MEASURED)
    assert bad["code"] != "unforeseen"
    assert json.loads(good["record"])["sha256"] == good["content"]


def test_a_picture_in_storage_that_cannot_be_read_is_tried_by_the_next_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "s3fs", None)
    (told,) = measure_batch(["s3://bucket/a.jpg"], REQUEST.as_json())
    assert (told["state"], told["code"]) == (FAILED, "storage-missing")
    assert told["code"] in pictures.TRY_AGAIN


def test_what_is_not_foreseen_is_tried_twice_and_then_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tried = []

    def fails(*_: object) -> None:
        tried.append(1)
        raise RuntimeError("out of luck")

    monkeypatch.setattr(pictures, "measure", fails)
    (told,) = measure_batch([str(folder / "a.png")], REQUEST.as_json())
    assert (told["state"], told["code"], len(tried)) == (FAILED, "unforeseen", 2)
    assert "out of luck" in told["message"]


def test_a_second_run_measures_only_what_is_new(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names, stamp = [str(folder / n) for n in ("a.png", "b.png", "c.png")], stamp_of(REQUEST)
    kept = Results(str(tmp_path))
    first = measure_pictures(names[:1] + names[2:], REQUEST.as_json(), stamp, kept)
    monkeypatch.setattr(pictures, "measure", None)  # whoever measures now fails
    again = measure_pictures(names, REQUEST.as_json(), stamp, kept)
    assert again[names[0]] == again[names[1]] == first[names[0]]
    rows = kept.rows(stamp)
    assert sorted(r["state"] for r in rows.values()) == [FAILED, MEASURED]
    assert all(r["code"] != "unforeseen" for r in rows.values())


@pytest.mark.parametrize("form", get_args(Form))
@pytest.mark.parametrize("where", ["memory://kept", "folder"])
def test_a_batch_done_twice_is_there_once(form: Form, where: str, tmp_path: Path) -> None:
    place = where if "://" in where else str(tmp_path / where)
    kept = Results(place, form)
    try:
        for _ in range(2):
            kept.add([row("a"), row("b", FAILED)])
        kept.add([row("b"), row("c", KNOWN)])
        assert {k: r["state"] for k, r in Results(place).rows("s").items()} == {"a": MEASURED, "b": MEASURED}
        assert len(list(kept._all())) == 3
        assert kept.rows("another request") == {}
    finally:
        if "://" in where:
            fsspec.filesystem("memory").rm("/kept", recursive=True)


def test_another_request_is_measured_anew() -> None:
    assert stamp_of(REQUEST) == stamp_of(Request())
    assert stamp_of(REQUEST) != stamp_of(Request(board_thickness_mm=1.0))
