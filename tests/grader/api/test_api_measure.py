"""Measuring from Python: the same figures as the command line, whatever the photo comes as; typed errors."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import grader
import grader.api.measuring
from calibration.errors import DataFileError, GraderError, KeywordError, LogError, PhotoError, ScaleError, UsageError
from calibration.thickness import THICKNESS
from grader.cli.choices import choose_scale
from grader.corrections import Corrections, LeftOut
from grader.learn.invented import write_invented
from grader.measured import Measured
from grader.request import Request
from grader.samples import samples_folder
from grader.scale_choice import Automatic, ScaleChoice, WithoutScale
from tests.grader.api.conftest import EDGE

pytestmark = pytest.mark.usefixtures("remembered")
PHOTO, LISTING = samples_folder() / "memory-modules.jpg", samples_folder() / "listing-photo.jpg"


def caught(call: Callable[[], object]) -> GraderError:
    with pytest.raises(GraderError) as error:
        call()
    assert error.value.message.endswith((".", "!", "?"))
    assert error.value.advice
    return error.value


@pytest.mark.parametrize("as_what", [str, Path.read_bytes, grader.load_photo], ids=["text", "bytes", "loaded"])
def test_a_photo_is_the_same_whatever_it_comes_as(as_what: Any, modules: grader.MeasuredPhoto) -> None:
    done = grader.measure(as_what(PHOTO), published=True)
    assert done.gold == modules.gold
    assert done.record.sha256 == modules.record.sha256


def test_the_document_is_that_of_the_measurement(modules: grader.MeasuredPhoto) -> None:
    assert modules.to_dict() == Measured.of(modules.measurement).to_dict()
    record = modules.record
    assert (modules.area.median, modules.area.low, modules.area.high) == (
        record.plated_area_mm2.value, record.plated_area_mm2.low, record.plated_area_mm2.high,
    )  # fmt: skip
    assert modules.gold.unit == "mg"
    assert set(modules.by_finish) == {"hard_gold", "immersion_gold", "undetermined"}
    assert modules.board_count == record.board_count
    assert [n.code for n in modules.notices] == [n.code for n in record.warnings]
    assert modules.refused is None


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Request]:
    """What keywords ask of the pipeline."""

    class Asked(Exception):  # noqa: N818 - no error
        pass

    def instead(photo: Any, request: Request, progress: Any) -> None:
        raise Asked(request)

    monkeypatch.setattr(grader.api.measuring, "measure_photo", instead)

    def ask(**keywords: Any) -> Request:
        with pytest.raises(Asked) as found:
            grader.measure(LISTING, **keywords)
        (request,) = found.value.args
        return request

    return ask


ENDS = {"start": "431.1,1137.2", "end": "193.8,344.3"}
RIM = [(10.0, 0.0), (3.0, 9.0), (-8.0, 6.0), (-8.0, -6.0), (3.0, -9.0)]
CORNERS = [(100.0, 100.0), (956.0, 100.0), (956.0, 640.0), (100.0, 640.0)]


def typed(points: list[tuple[float, float]]) -> list[str]:
    return [f"{x},{y}" for x, y in points]


@pytest.mark.parametrize(
    ("keywords", "options"),
    [
        ({}, {}),
        ({"no_scale": True}, {"no_scale": True}),
        ({"length": "5 1/4 in", "between": EDGE}, {"length": "5 1/4 in", **ENDS}),
        ({"length": "US quarter", "between": EDGE}, {"length": "US quarter", **ENDS}),
        ({"rectangle": "ID-1 card", "corners": CORNERS}, {"rectangle": "ID-1 card", "corners": typed(CORNERS)}),
        ({"coin": "2 euro", "rim": RIM}, {"coin": "2 euro", "rim": typed(RIM)}),
        ({"coin": "24.26 mm", "rim": np.array(RIM)}, {"coin": "24.26 mm", "rim": typed(RIM)}),
        ({"pitch": "PCI Express"}, {"pitch": "PCI Express"}),
    ],
)  # fmt: skip
def test_keywords_choose_what_options_choose(
    asked: Callable[..., Request], keywords: dict[str, Any], options: dict[str, Any]
) -> None:
    names = ("target", "length", "start", "end", "rectangle", "corners", "pitch", "coin", "rim")
    expected: ScaleChoice = choose_scale(**{**dict.fromkeys(names), "no_scale": False, **options})
    assert asked(**keywords).scale == expected


def test_board_thickness_is_read_with_its_unit(asked: Callable[..., Request]) -> None:
    assert asked(board_thickness="62 mil").board_thickness_mm == pytest.approx(1.5748)


def test_a_request_is_taken_as_it_is(asked: Callable[..., Request]) -> None:
    request = Request(scale=WithoutScale())
    assert asked(request=request) is request
    assert isinstance(asked().scale, Automatic)


@pytest.mark.parametrize(
    ("keywords", "kind", "code"),
    [
        ({"lenght": "133 mm"}, KeywordError, "keyword-unknown"),
        ({"length": "133 mm"}, UsageError, "points-missing"),
        ({"between": EDGE}, UsageError, "length-missing"),
        ({"length": 133.35, "between": EDGE}, UsageError, "unit-missing"),
        ({"length": "133 kg", "between": EDGE}, UsageError, "unit-wrong-kind"),
        ({"length": "a yard of ale", "between": EDGE}, UsageError, "object-unknown"),
        ({"length": Path("x"), "between": EDGE}, UsageError, "keyword-not-text"),
        ({"length": "133 mm", "between": [(1, 2)]}, UsageError, "point-invalid"),
        ({"length": "133 mm", "between": "edge"}, UsageError, "point-invalid"),
        ({"length": "133 mm", "between": [(1, 2), (3, float("nan"))]}, UsageError, "point-invalid"),
        ({"rectangle": "A4 sheet"}, UsageError, "corners-missing"),
        ({"corners": CORNERS}, UsageError, "rectangle-missing"),
        ({"rectangle": "A4 sheet", "corners": CORNERS[:3]}, UsageError, "point-invalid"),
        ({"rim": RIM}, UsageError, "coin-missing"),
        ({"pitch": "1.27 mm", "no_scale": True}, UsageError, "scale-twice"),
        ({"target": "no-such.json"}, DataFileError, "target-file-unreadable"),
        ({"board_thickness": "1.6"}, UsageError, "unit-missing"),
        ({"request": Request(), "no_scale": True}, UsageError, "request-twice"),
        ({"log": "no-such.sqlite"}, LogError, "log-missing"),
        ({"corrections": "no-such.json"}, DataFileError, "corrections-unreadable"),
    ],
)
def test_wrong_keywords_have_errors_of_ours(keywords: dict[str, Any], kind: type[GraderError], code: str) -> None:
    error = caught(lambda: grader.measure(LISTING, **keywords))
    assert isinstance(error, kind)
    assert error.code == code


@pytest.mark.parametrize(
    ("photo", "kind", "code"),
    [
        ("no-such.jpg", PhotoError, "photo-missing"),
        (samples_folder(), PhotoError, "photo-is-folder"),
        (b"", PhotoError, "photo-empty"),
        (np.zeros((4, 4, 3), np.uint8), UsageError, "photo-unknown-kind"),
        (None, UsageError, "photo-unknown-kind"),
    ],
)
def test_what_is_no_photo(photo: Any, kind: type[GraderError], code: str) -> None:
    error = caught(lambda: grader.measure(photo))
    assert isinstance(error, kind)
    assert error.code == code


def test_a_misspelt_keyword_is_told_what_was_meant_and_is_a_type_error_too() -> None:
    with pytest.raises(TypeError, match=r"Did you mean length=\?"):
        grader.measure(LISTING, lenght="133 mm")  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="missing a required argument"):
        grader.measure()  # type: ignore[call-arg]


def test_without_scale_figures_raise_the_reason_and_the_rest_is_there(unscaled: grader.MeasuredPhoto) -> None:
    for figure in ("area", "gold", "by_finish"):
        error = caught(lambda name=figure: getattr(unscaled, name))  # type: ignore[misc]
        assert isinstance(error, ScaleError)
        assert error.code == "no-scale"
    assert unscaled.refused is not None
    assert unscaled.px_per_mm is None
    assert 0 < unscaled.plated_share < 1
    assert "no-scale" in repr(unscaled)
    assert "no area and no gold" in unscaled._repr_html_()
    assert all(row["gold_mg"] is None for row in unscaled.rows())
    assert unscaled.overlay(300).size == (300, 225)


def test_no_scale_that_was_asked_for_is_the_same_reason() -> None:
    assert caught(lambda: grader.measure(LISTING, no_scale=True).gold).code == "no-scale"


def test_a_row_for_each_board(modules: grader.MeasuredPhoto) -> None:
    rows = modules.rows()
    assert [row["board"] for row in rows] == [1, 2, 3, 4]
    assert all(0 < row["gold_low_mg"] < row["gold_mg"] < row["gold_high_mg"] for row in rows)
    boards = modules.record.boards
    assert [row["contacts"] for row in rows] == [sum(r.count for r in b.contacts) for b in boards]
    # thickness is common to all boards: their bounds nearly add up, where all plating lies on boards
    assert sum(row["gold_high_mg"] for row in rows) == pytest.approx(modules.gold.high, rel=0.02)
    frame = modules.to_frame()
    assert list(frame.columns) == list(rows[0])
    assert frame.to_dict("records") == rows


def test_without_pandas_the_rows_are_still_there(
    modules: grader.MeasuredPhoto, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    assert caught(modules.to_frame).code == "pandas-missing"
    assert modules.rows()


def test_the_overlay_is_a_picture_of_the_asked_size(modules: grader.MeasuredPhoto) -> None:
    picture = modules.overlay(400)
    assert (picture.mode, picture.size) == ("RGB", (400, 300))
    assert np.ptp(np.asarray(picture)) > 100


def test_in_a_notebook_it_is_picture_table_and_cautions(modules: grader.MeasuredPhoto) -> None:
    html = modules._repr_html_()
    assert 'src="data:image/jpeg;base64,' in html
    assert "hard gold" in html
    assert modules.record.statement.split(":")[0] in html
    named = grader.measure(PHOTO.read_bytes(), name="<script>", no_scale=True)
    assert "<script>" not in named._repr_html_()


def test_what_is_read_from_a_file_is_what_was_saved(modules: grader.MeasuredPhoto) -> None:
    modules.save("boards.json")
    again = grader.load_measurement("boards.json")
    assert again.to_dict() == modules.to_dict()
    assert repr(again) == repr(modules)
    assert again.rows() == modules.rows()
    assert "<img" not in again._repr_html_()
    for needs_pixels in (again.overlay, lambda: again.corrected(Corrections())):
        assert caught(needs_pixels).code == "photo-not-at-hand"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "measurement-invalid"),
        ("{}", "measurement-invalid"),
        ("not JSON", "measurement-invalid"),
        (None, "measurement-unreadable"),
    ],
)
def test_files_that_hold_no_measurement(text: str | None, code: str) -> None:
    if text is not None:
        Path("bad.json").write_text(text, "utf-8")
    assert caught(lambda: grader.load_measurement("bad.json")).code == code


def test_a_record_of_a_photo_that_was_not_measured_says_why() -> None:
    failed = grader.MeasuredPhoto(Measured.failed("bad.jpg", PhotoError("photo-empty", "It is empty.", "Copy it.")))
    again = grader.MeasuredPhoto.from_dict(failed.to_dict())
    for figure in ("gold", "plated_share"):
        assert caught(lambda name=figure: getattr(again, name)).code == "photo-empty"  # type: ignore[misc]
    assert "photo-empty" in repr(again)
    assert "bad.jpg" in again._repr_html_()
    assert again.rows() == []


def test_an_edited_file_is_refused(modules: grader.MeasuredPhoto) -> None:
    document = modules.to_dict()
    document["gold_mg"] = {**document["gold_mg"], "value": 9999.0}
    assert caught(lambda: grader.MeasuredPhoto.from_dict(document)).code == "measurement-contradicts"


def test_a_file_of_several_says_so(modules: grader.MeasuredPhoto) -> None:
    modules.save("one.json")
    Path("two.jsonl").write_text(Path("one.json").read_text("utf-8") * 2, "utf-8")
    assert caught(lambda: grader.load_measurement("two.jsonl")).code == "measurements-several"


def test_corrections_from_a_file_or_as_they_are(modules: grader.MeasuredPhoto) -> None:
    region = modules.measurement.regions.regions[0]
    at = (float(region.box_px[:, 0].mean()), float(region.box_px[:, 1].mean()))
    by_hand = Corrections((LeftOut(at),), modules.record.sha256)
    corrected = modules.corrected(by_hand)
    corrected.save("corrected.json")
    assert modules.corrected("corrected.json").to_dict() == corrected.to_dict()
    assert grader.measure(PHOTO, published=True, corrections="corrected.json").gold == corrected.gold
    assert corrected.corrected(Corrections()).gold == modules.gold
    other = Corrections((LeftOut(at),), "0" * 64)
    assert caught(lambda: modules.corrected(other)).code == "corrections-other-photo"


def learned(done: grader.MeasuredPhoto) -> set[bool]:
    return {i.is_recovered for i in done.record.gold.used_inputs() if i.kind == THICKNESS}


def test_thickness_is_what_the_log_taught_unless_published_is_asked_for(new_user: Path) -> None:
    write_invented(Path("taught.sqlite"), 4)
    with grader.open_log("taught.sqlite") as log:
        from_open = grader.measure(PHOTO, log=log)
    assert learned(from_open) == {True}
    assert learned(grader.measure(PHOTO, log="taught.sqlite", published=True)) == {False}
    assert learned(grader.measure(PHOTO)) == {False}
    new_user.mkdir()
    Path("taught.sqlite").rename(new_user / "log.sqlite")
    usual = grader.measure(PHOTO)
    assert learned(usual) == {True}
    assert usual.gold == from_open.gold
    assert learned(usual.corrected(Corrections((LeftOut((1.0, 1.0)),)))) == {True}


def test_a_usual_log_that_cannot_be_read_is_told_of(new_user: Path) -> None:
    new_user.mkdir()
    (new_user / "log.sqlite").write_bytes(b"no log at all, for certain")
    assert isinstance(caught(lambda: grader.measure(PHOTO)), LogError)
    assert learned(grader.measure(PHOTO, published=True)) == {False}
