"""The record of a measurement: what was ever written still opens, what is read was checked, nothing is lost."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from calibration.errors import DataFileError, UsageError
from calibration.packaged import packaged_text
from grader.lot import estimate_lot, one_part
from grader.measured import Measured, measurements_of, schema_json
from grader.model import Range

WRITTEN = Path(__file__).parent / "written"
# Made by the program before there was a typed record, but for the first: by its first version.
NAMES = ("first-version", "with-gold", "corrected", "no-gold", "without-scale", "refused", "invented", "failed")
VALUED: dict[str, Any] = json.loads((WRITTEN / "valued.json").read_text("utf-8"))


def written(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((WRITTEN / f"{name}.json").read_text("utf-8"))
    return found


@pytest.fixture(scope="module")
def valid() -> Callable[[Any], bool]:
    schema = json.loads(packaged_text("grader.measured", "data/measurement.schema.json"))
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema).is_valid


def test_the_schema_file_is_that_of_the_record() -> None:
    """To make it anew: python -m grader.measured > grader/measured/data/measurement.schema.json."""
    assert packaged_text("grader.measured", "data/measurement.schema.json") == schema_json()


@pytest.mark.parametrize("name", NAMES)
def test_what_was_written_fits_the_schema_and_opens(name: str, valid: Callable[[Any], bool]) -> None:
    document = written(name)
    assert valid(document)
    measured = Measured.from_dict(document)
    assert measured.photo == document["photo"]
    assert measured.has_gold is (document.get("gold_mg") is not None)


@pytest.mark.parametrize("name", NAMES)
def test_it_is_written_again_as_it_was(name: str, valid: Callable[[Any], bool]) -> None:
    """Older versions wrote an input's name alone, and chances that did not quite add up to 1."""
    document = written(name)
    again = json.loads(json.dumps(Measured.from_dict(document).to_dict(), allow_nan=False))
    assert valid(again)
    assert Measured.from_dict(again) == Measured.from_dict(document)
    for key, value in document.items():
        if key not in ("model", "board_count") or value is None:
            assert again[key] == value, key
    assert set(again) == set(document)


# The lot's figures are those of the spread between boards as held since version 0.3; the others as first written.
# They come of 20,000 independent draws; today one is drawn from each slice of each input. The standard error of a
# quantile of independent draws is sqrt(q (1 - q) / n) / density: for a lognormal that spans a factor of 20
# (sigma 0.91), 0.8 % at the median and 1.4 % at 5 and 95 %. Three of the latter.
_DRAWN = 0.042


@pytest.mark.parametrize("name", list(VALUED))
def test_what_was_written_values_to_the_same_figures(name: str) -> None:
    before = VALUED[name]
    measured = measurements_of([(name, written(name))])
    gold = Range.of(estimate_lot(one_part(measured, boards=[2], count="40")).gold_mg.draws()).as_json()
    assert gold == pytest.approx(before["lot_gold_mg"], rel=_DRAWN)
    one = Measured.from_dict(written(name))
    assert Range.of(one.gold.draws()).as_json() == pytest.approx(before["gold_mg"], rel=_DRAWN)
    outlines = [[b.area_mm2.value if b.area_mm2 else None, b.gold_value_mg, b.slenderness] for b in one.boards]
    assert outlines == [pytest.approx(outline) for outline in before["outlines"]]
    count = one.likely_boards.as_json()
    assert {key: count[key] for key in ("value", "low", "high")} == {
        key: before["board_count"][key] for key in ("value", "low", "high")
    }
    assert count["chances"] == pytest.approx(before["board_count"]["chances"], abs=1.5e-4)


def test_fields_of_later_versions_are_kept() -> None:
    document = written("with-gold")
    document["weather"] = {"sky": "grey"}
    document["boards"][0]["colour"] = "green"
    document["scale"]["curl_mm"] = 0.5
    again = Measured.from_dict(document).to_dict()
    assert again["weather"] == {"sky": "grey"}
    assert again["boards"][0]["colour"] == "green"
    assert again["scale"]["curl_mm"] == 0.5


def _set(*place: str | int, to: Any) -> Callable[[dict[str, Any]], None]:
    def change(document: dict[str, Any]) -> None:
        part: Any = document
        for key in place[:-1]:
            part = part[key]
        part[place[-1]] = to

    return change


@pytest.mark.parametrize(
    "change",
    [
        _set("schema", to=2),
        _set("schema", to="1"),
        _set("photo", to=None),
        _set("sha256", to=7),
        _set("width_px", to="800"),
        _set("width_px", to=1.5),
        _set("scale", to="length"),
        _set("scale", "px_per_mm", to="8"),
        _set("plated_area_mm2", to=64.0),
        _set("gold_mg", "low", to=None),
        _set("gold_mg", to={"value": 1.0}),
        _set("by_finish", "silver", to={"area_mm2": None, "gold_mg": None}),
        _set("boards", to={}),
        _set("boards", 0, "outline_px", 0, to=[1.0]),
        _set("boards", 0, "outline_px", 0, 0, to=1e9),
        _set("boards", 0, "contacts", 0, "count", to="16"),
        _set("boards", 0, "gold_terms", 0, "factors", to="thickness"),
        _set("board_count", "chances", to=3),
        _set("photo_checks", 0, "is_good", to="yes"),
        _set("photo_checks", 0, "check", to="smell"),
        _set("plating_px", "hard_gold", 0, to=[[1, 2, 3]]),
        _set("budget", 0, "share_of_variance", to="much"),
        _set("warnings", to=3),
        _set("warnings", to=[{"code": "x"}]),
        _set("model", "gold_mg", to=3),
        _set("model", "gold_mg", "inputs", to=None),
        _set("model", "scale_inputs", to="scale"),
        _set("corrections", "corrections", 0, "kind", to="guess"),
        _set("corrections", "gold_mg", "change", to=1.0),
    ],
)
def test_what_the_schema_refuses_is_refused(change: Callable[..., None], valid: Callable[[Any], bool]) -> None:
    document = written("corrected")
    change(document)
    assert not valid(document)
    with pytest.raises(DataFileError) as caught:
        Measured.from_dict(document, "file.json")
    assert caught.value.code in ("measurement-invalid", "model-invalid", "corrections-invalid")
    assert "file.json" in caught.value.message
    assert caught.value.advice


def test_the_message_names_the_place() -> None:
    document = written("with-gold")
    document["boards"][1]["contacts"] = [{"count": "many"}]
    with pytest.raises(DataFileError, match=r"m\.json, photo cards\.jpg.*boards\.1\.contacts\.0\.count"):
        Measured.from_dict(document, "m.json")


@pytest.mark.parametrize("odd", [float("nan"), float("inf"), {1, 2}, b"bytes"])
def test_what_json_cannot_hold_is_refused(odd: Any) -> None:
    document = {**written("with-gold"), "plated_share_of_frame": odd}
    with pytest.raises(DataFileError):
        Measured.from_dict(document)


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("without-scale", "measurement-without-scale"),
        ("refused", "measurement-refused"),
        ("failed", "measurement-refused"),
    ],
)
def test_gold_that_is_not_known_is_refused_with_the_reason(name: str, code: str) -> None:
    measured = Measured.from_dict(written(name))
    assert not measured.has_gold
    for ask in (lambda: measured.gold, lambda: measured.areas):
        with pytest.raises(UsageError) as caught:
            ask()
        assert caught.value.code == code
        assert measured.photo in caught.value.message


def test_another_model_of_the_gold_takes_the_place_of_what_was_shown() -> None:
    measured = Measured.from_dict(written("with-gold"))
    doubled = measured.with_gold(measured.gold.times((), 2.0))
    assert doubled.gold.draws() == pytest.approx(2 * measured.gold.draws())
    assert (doubled.gold_mg, doubled.by_finish, doubled.budget) == (None, {}, ())
    assert doubled.areas == measured.areas
    assert measured.gold_mg is not None
    assert measured.gold_mg.value == pytest.approx(float(np.median(measured.gold.draws())), rel=_DRAWN)


def test_a_record_does_not_change_with_what_it_was_read_from() -> None:
    document = written("with-gold")
    measured = Measured.from_dict(document)
    before = copy.deepcopy(measured.to_dict())
    document["boards"].clear()
    assert measured.to_dict() == before
