"""Measurements read back: shared inputs stay shared, and nothing doubtful is counted."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import DataFileError, UsageError
from calibration.inputs import Input
from grader.board_count import BoardCount
from grader.lot import estimate_lot, one_part
from grader.measured import measurements_of, read_measurements
from grader.model import FINISHES, ProductModel, Term

THICKNESS = Input("thickness", "thickness", Distribution("lognormal", (0.5, 0.4)), "test", "um", of=("hard_gold",))
NOTHING: dict[str, Any] = {"terms": [], "inputs": []}


def document(name: str, area_mm2: float, **changes: Any) -> dict[str, Any]:
    scale = Input("scale", "scale", Distribution("normal", (1.0, 0.01)), "test", of=(name,))
    area = ProductModel((Term(area_mm2, (scale.name,)),), {scale.name: scale})
    gold = area.times((THICKNESS,), 0.0193)
    return {
        "schema": 1,
        "photo": f"{name}.jpg",
        "sha256": name * 8,
        "scale": {"method": "target", "px_per_mm": 10.0},
        "model": {"gold_mg": gold.as_json(), "area_mm2": {"hard_gold": area.as_json()}},
        "warnings": [],
        **changes,
    }


def shown(value: float) -> dict[str, float]:
    return {"value": value, "low": value, "high": value, "level": 0.9}


def named(*documents: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [("lot", d) for d in documents]


@pytest.mark.parametrize(
    "write",
    [
        lambda docs: "\n".join(json.dumps(d) for d in docs) + "\n",
        lambda docs: json.dumps(docs, indent=2),
        lambda docs: "\ufeff" + "\r\n\r\n".join(json.dumps(d) for d in docs),
    ],
    ids=["lines", "array", "lines-of-windows"],
)
def test_files_of_several_photos(tmp_path: Path, write: Callable[[list[dict[str, Any]]], str]) -> None:
    (tmp_path / "two.json").write_text(write([document("a", 100.0), document("b", 50.0)]), "utf-8")
    (tmp_path / "one.json").write_text(json.dumps(document("c", 25.0), indent=1), "utf-8")
    found = read_measurements([tmp_path / "two.json", tmp_path / "one.json"])
    assert [m.photo for m in found] == ["a.jpg", "b.jpg", "c.jpg"]
    assert [np.median(m.areas["hard_gold"].draws()) for m in found] == pytest.approx([100.0, 50.0, 25.0], rel=0.01)
    assert found[0].gold == ProductModel.from_json(document("a", 100.0)["model"]["gold_mg"])


def test_a_shared_thickness_stays_shared_and_a_photos_own_scale_its_own() -> None:
    one, other = measurements_of(named(document("a", 100.0), document("b", 100.0)))
    together = (one.gold + other.gold).draws()
    assert together == pytest.approx(one.gold.draws() + other.gold.draws())
    assert np.corrcoef(one.gold.draws(), other.gold.draws())[0, 1] > 0.99
    # Divided by the shared thickness only the scales are left, and they average out.
    by_scale = together / THICKNESS.draws() / 0.0193 / 200.0
    assert np.std(by_scale) == pytest.approx(0.01 / np.sqrt(2), rel=0.03)


def test_a_photo_given_twice_is_refused_whatever_its_name() -> None:
    again = document("a", 100.0, photo="copy.jpg")
    with pytest.raises(UsageError) as caught:
        measurements_of(named(document("a", 100.0), again))
    assert caught.value.code == "photo-twice"
    assert "copy.jpg" in caught.value.message
    assert "a.jpg" in caught.value.message


def test_photos_measured_with_different_beliefs_are_not_added() -> None:
    text = json.dumps(document("b", 100.0)).replace("[0.5, 0.4]", "[0.8, 0.3]")
    measured = measurements_of(named(document("a", 100.0), json.loads(text)))
    with pytest.raises(DataFileError) as caught:
        estimate_lot(one_part(measured))
    assert caught.value.code == "input-conflict"


@pytest.mark.parametrize(
    ("changes", "code", "words"),
    [
        ({"scale": {"method": "none"}, "model": None}, "measurement-without-scale", ("a.jpg", "known length")),
        ({"scale": None}, "measurement-without-scale", ("a.jpg",)),
        (
            {"refused": {"code": "target-bent", "message": "The target is bent.", "advice": "Tape it down."}},
            "measurement-refused",
            ("a.jpg", "The target is bent.", "Tape it down."),
        ),
        ({"schema": 2}, "measurement-invalid", ("lot",)),
        ({"photo": None}, "measurement-invalid", ("lot",)),
        ({"sha256": ""}, "measurement-invalid", ("a.jpg", "sha256")),
        ({"model": None}, "measurement-invalid", ("a.jpg", "model")),
        ({"model": {"gold_mg": {"terms": []}}}, "model-invalid", ("a.jpg",)),
        ({"model": {"gold_mg": NOTHING, "area_mm2": {"silver": NOTHING}}}, "measurement-invalid", ("a.jpg",)),
        ({"warnings": [{"code": "x"}]}, "measurement-invalid", ("a.jpg",)),
        ({"warnings": 3}, "measurement-invalid", ("a.jpg",)),
        ({"board_count": 3}, "measurement-invalid", ("a.jpg",)),
        ({"board_count": {"chances": {"1": 2.0}}}, "measurement-invalid", ("a.jpg",)),
    ],
)  # fmt: skip
def test_measurements_refused(changes: dict[str, Any], code: str, words: tuple[str, ...]) -> None:
    with pytest.raises(UsageError) as caught:
        measurements_of(named(document("a", 100.0, **changes)))
    assert caught.value.code == code
    assert all(word in str(caught.value) for word in words), str(caught.value)


def test_nothing_is_no_lot() -> None:
    with pytest.raises(UsageError) as caught:
        measurements_of([])
    assert caught.value.code == "measurements-none"


@pytest.mark.parametrize(
    "data",
    [b"", b"{", b"[]", b"3", b'"text"', b"[1]", b"\xff\xd8\xff", b"%PDF-1.7", b"[" * 100_000, b'{"schema": NaN}'],
    ids=["empty", "cut", "none", "number", "text", "numbers", "jpeg", "pdf", "deep", "nan"],
)
def test_files_that_hold_no_measurement(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "m.json"
    path.write_bytes(data)
    with pytest.raises(DataFileError) as caught:
        read_measurements([path])
    assert caught.value.code == "measurement-invalid"
    assert "m.json" in caught.value.message


def test_a_number_beyond_all_bounds_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "m.json"
    path.write_text(json.dumps(document("a", 123.0)).replace("123.0", "1e999").replace("2.3739", "1e999"), "utf-8")
    with pytest.raises(DataFileError):
        read_measurements([path])


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(DataFileError) as caught:
        read_measurements([tmp_path / "gone.json"])
    assert caught.value.code == "measurement-unreadable"


def test_outlines_and_the_scale_they_share_with_the_gold() -> None:
    def board(area: float, *gold: float) -> dict[str, Any]:
        by_finish = {f: {"gold_mg": shown(g)} for f, g in zip(FINISHES, gold, strict=False)}
        return {"area_mm2": shown(area), "by_finish": by_finish}

    whole = document("a", 100.0, boards=[board(4000.0, 1.5, 0.5), board(100.0)])
    whole["model"]["scale_inputs"] = ["scale:a"]
    (measured,) = measurements_of(named(whole))
    assert [(b.size_mm2, b.gold_value_mg) for b in measured.boards] == [(4000.0, 2.0), (100.0, 0.0)]
    assert measured.scale_inputs == ("scale:a",)
    tiny = measurements_of(named(document("a", 100.0, boards=[board(0.5)])))
    assert tiny[0].boards[0].size_mm2 == 0.5
    for bad in ([board(0.0)], [board(float("nan"))], [{}], [board(1.0, float("inf"))]):
        with pytest.raises(UsageError) as caught:
            measurements_of(named(document("a", 100.0, boards=bad)))
        assert caught.value.code == "measurement-invalid"


BEYOND = ("9" * 400, "1e999")  # no float
LARGE = ("1" + "0" * 308, "1e308", "-1e200")  # a float, but no quantity


@pytest.mark.parametrize(
    ("place", "number"),
    [(place, n) for place in ("outline", "parameter", "coefficient") for n in (*BEYOND, *LARGE)]
    + [(place, n) for place in ("value", "area") for n in BEYOND],
)
def test_a_number_of_hundreds_of_digits_is_refused_wherever_it_stands(
    tmp_path: Path, place: str, number: str
) -> None:
    """In a file, and in a document that comes from the log or another program."""
    board = {
        "by_finish": {"hard_gold": {"gold_mg": shown(77 if place == "value" else 1.0)}},
        "area_mm2": shown(77 if place == "area" else 2.0),
        "outline_px": [[0, 0], [77 if place == "outline" else 5, 0], [5, 5]],
    }
    made = document("a", 123.0, boards=[board])
    if place == "parameter":
        made["model"]["gold_mg"]["inputs"][0]["distribution"]["parameters"][0] = 77
    if place == "coefficient":
        made["model"]["gold_mg"]["terms"][0]["coefficient"] = 77
    path = tmp_path / "m.json"
    path.write_text(json.dumps(made).replace("77", number), "utf-8")
    with pytest.raises(DataFileError):
        read_measurements([path])
    with pytest.raises(DataFileError):
        measurements_of(named(json.loads(path.read_text("utf-8"))))


def test_the_number_of_boards_where_it_was_told_and_where_an_older_version_measured() -> None:
    told = BoardCount.of({4: 0.2, 5: 0.6, 6: 0.2})
    (measured,) = measurements_of(named(document("a", 100.0, board_count=told.as_json())))
    assert measured.board_count == told.rounded()
    (older,) = measurements_of(named(document("a", 100.0)))
    assert older.board_count is None
    assert not older.likely_boards.is_sure


def test_one_number_beyond_all_bounds_among_sound_ones_is_refused() -> None:
    """Of two terms the first is sound and the second is not: in a document that another program made."""
    whole = document("a", 100.0)
    for quantity in ("gold_mg", "area_mm2"):
        changed = json.loads(json.dumps(whole))
        model = changed["model"]["gold_mg"] if quantity == "gold_mg" else changed["model"]["area_mm2"]["hard_gold"]
        model["terms"].append({**model["terms"][0], "coefficient": 1e300})
        with pytest.raises(DataFileError) as caught:
            measurements_of(named(changed))
        assert caught.value.code == "model-invalid"


@pytest.mark.parametrize(
    ("corners", "slenderness"),
    [
        ([[0, 0], [40, 0], [40, 10], [0, 10]], 4.0),
        ([[0, 0], [10, 0], [10, 40], [0, 40]], 4.0),
        ([[0, 0], [30, 30], [20, 40], [-10, 10]], 3.0),  # turned by 45 degrees
        ([[0, 0], [40, 0], [20, 10]], 4.0),  # the least box round a triangle stands on its longest side
        ([[0, 0], [30, 0]], None),
        ([[0, 0], [10, 0], [20, 0]], None),
        ([], None),
    ],
)
def test_how_slender_an_outline_is(corners: list[list[float]], slenderness: float | None) -> None:
    board = {"area_mm2": shown(400.0), "by_finish": {}, "outline_px": corners}
    (measured,) = measurements_of(named(document("a", 100.0, boards=[board])))
    found = measured.boards[0].slenderness
    assert found == (None if slenderness is None else pytest.approx(slenderness, rel=1e-4))
