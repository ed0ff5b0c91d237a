"""Corrections in the record, in words and as training data."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from grader.correct import Corrections, FinishChanged, LeftOut, PaintedIn, PaintedOut, parse_corrections
from grader.correct.export import training_zip
from grader.correct.measured import correct
from grader.coverage.training.evaluate import pictures, read_truth
from grader.measured import Measured
from grader.measured.of_measurement import corrections_of
from grader.model import ProductModel, Range
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement, measure
from grader.report import coverage_png
from grader.report.words import correction_words
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import GOLD, GREEN_MASK, TABLE, KnownCoverage, box, paint, polygon_share, union_share
from tests.measured_photos import document_of

SHAPE = (300, 400)
CARD, PAD, OTHER = box((200, 150), 320, 220), box((120, 120), 60, 40), box((280, 200), 50, 50)
SCALE = ByLength(20.0, (10.0, 10.0), (170.0, 10.0))  # 8 px per mm


def photo() -> Photo:
    share, card = union_share([PAD, OTHER], SHAPE), polygon_share(CARD, SHAPE)
    rgb = paint([(np.ones(SHAPE), TABLE), (card, GREEN_MASK), (share, GOLD)])
    return Photo("pads.png", "ab" * 32, rgb, "PNG")


@pytest.fixture(scope="module")
def found() -> Measurement:
    share, card = union_share([PAD, OTHER], SHAPE), polygon_share(CARD, SHAPE) > 0.5
    return measure(photo(), Request(SCALE, segmenter=KnownCoverage(share, card)))


@pytest.fixture(scope="module")
def bare() -> Measurement:
    return measure(photo(), Request(segmenter=KnownCoverage(np.zeros(SHAPE), np.ones(SHAPE, bool))))


LESS = Corrections((LeftOut((120.0, 120.0)),), "ab" * 32)
MORE = Corrections((PaintedIn(((150.0, 220.0), (200.0, 220.0)), 8.0, "hard_gold"),), "ab" * 32)


def test_a_document_without_corrections_says_so(found: Measurement) -> None:
    document = document_of(found)
    assert document["corrections"] is None
    assert Measured.from_dict(document).made_by_hand == Corrections()
    del document["corrections"]  # written before there were any
    assert Measured.from_dict(document).made_by_hand == Corrections()


@pytest.mark.parametrize("made", [LESS, MORE])
def test_the_record_gives_the_list_back_and_adds_up(found: Measurement, made: Corrections) -> None:
    document = json.loads(json.dumps(document_of(correct(found, made)), allow_nan=False))
    assert Measured.from_dict(document).made_by_hand == made
    assert parse_corrections(json.dumps(document).encode()) == made
    record = document["corrections"]
    for key in ("plated_area_mm2", "gold_mg"):
        before = document_of(found)[key]
        assert record[key]["found"] == before
    change = ProductModel.from_json(document["model"]["gold_mg"]).draws() - _gold(found).draws()
    assert record["gold_mg"]["change"] == Range.of(change).as_json()
    assert (record["gold_mg"]["change"]["value"] < 0) is (made is LESS)


def _gold(done: Measurement) -> ProductModel:
    assert done.gold is not None
    return done.gold.total


def test_an_error_in_common_does_not_widen_the_change(found: Measurement) -> None:
    """Scale and thickness act on both: leaving out a tenth of the area is about a tenth of the gold, always."""
    record = document_of(correct(found, LESS))["corrections"]
    area = record["plated_area_mm2"]
    share = 60 * 40 / (60 * 40 + 50 * 50)
    assert area["change"]["value"] == pytest.approx(-share * area["found"]["value"], rel=0.01)
    assert area["change"]["low"] == pytest.approx(-share * area["found"]["high"], rel=0.01)
    assert area["change"]["high"] == pytest.approx(-share * area["found"]["low"], rel=0.01)


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (LESS, ("1 correction by hand", "less gold")),
        (MORE, ("1 correction by hand", "more gold")),
        (Corrections((*LESS.items, *MORE.items)), ("2 corrections by hand", "mg less and", "mg more gold")),
        (Corrections((PaintedOut(((10.0, 10.0),), 3.0),)), ("stays as it was found",)),
    ],
)
def test_the_words_say_which_way_the_gold_went(found: Measurement, made: Corrections, said: tuple[str, ...]) -> None:
    words = correction_words(corrections_of(correct(found, made)))
    assert all(part in words for part in said)
    assert "-" not in words
    assert "−" not in words


def test_without_scale_the_record_holds_shares(bare: Measurement) -> None:
    record = corrections_of(correct(bare, MORE))
    assert record.gold_mg is None
    assert record.plated_share_of_frame_found == 0
    assert correction_words(record) == "1 correction by hand."


def test_a_changed_finish_moves_gold_between_finishes(found: Measurement) -> None:
    done = correct(found, Corrections((FinishChanged((120.0, 120.0), "hard_gold"),)))
    before, after = document_of(found), document_of(done)
    assert after["plated_area_mm2"]["value"] == pytest.approx(before["plated_area_mm2"]["value"])
    moved = 60 * 40 / 64
    assert after["by_finish"]["hard_gold"]["area_mm2"]["value"] >= moved * 0.98


# --- training data


def unpacked(done: Measurement) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(training_zip(done))) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def test_training_data_hold_the_picture_and_what_was_corrected(found: Measurement) -> None:
    done = correct(found, Corrections((*LESS.items, *MORE.items)))
    files = unpacked(done)
    name = done.photo.short_id
    assert set(files) == {
        "README.txt", "meta.json", f"images/{name}.jpg", f"masks/{name}_gold.png", f"masks/{name}_known.png",
        f"masks/{name}_board.png", f"masks/{name}_kind.txt", f"masks/{name}_scale.txt", f"corrections/{name}.json",
    }  # fmt: skip
    assert files[f"masks/{name}_gold.png"] == coverage_png(done)
    picture = load_photo(files[f"images/{name}.jpg"])
    assert np.abs(picture.rgb.astype(int) - done.photo.rgb).mean() < 3
    boards = decoded(files[f"masks/{name}_board.png"])
    assert boards.shape == SHAPE
    assert set(np.unique(boards)) == {0, 1}
    assert np.count_nonzero(boards) == pytest.approx(320 * 220, rel=0.02)
    about = json.loads(files[f"corrections/{name}.json"])
    assert Corrections.from_json(about["corrections"]) == done.corrections


def test_what_was_corrected_is_known_and_what_lies_close_by(found: Measurement) -> None:
    done = correct(found, Corrections((*LESS.items, *MORE.items)))
    known = decoded(unpacked(done)[f"masks/{done.photo.short_id}_known.png"]) > 0
    assert known[polygon_share(PAD, SHAPE) > 0].all()  # left out
    assert known[220, 150:200].all()  # painted in
    assert known[220 + 15, 175]  # beside the brush
    assert not known[polygon_share(OTHER, SHAPE) > 0].any()  # nobody said a word of it
    assert not known[20, 20]


def test_a_picture_that_was_looked_over_is_known_everywhere(found: Measurement) -> None:
    done = correct(found, LESS)
    with zipfile.ZipFile(io.BytesIO(training_zip(done, looked_over=True))) as archive:
        assert not any(name.endswith("_known.png") for name in archive.namelist())


@pytest.mark.parametrize(
    ("finishes", "kind"),
    [
        (("hard_gold", "hard_gold"), "edge"),
        (("immersion_gold", "immersion_gold"), "pads"),
        (("hard_gold", "immersion_gold"), "mixed"),
        (("hard_gold", "undetermined"), "mixed"),
        ((None, "immersion_gold"), "pads"),
        ((None, None), "none"),
    ],
)
def test_the_kind_of_a_photo_follows_its_corrected_finishes(
    found: Measurement, finishes: tuple[str | None, str | None], kind: str
) -> None:
    places = ((120.0, 120.0), (280.0, 200.0))
    items = [LeftOut(at) if f is None else FinishChanged(at, f) for at, f in zip(places, finishes, strict=True)]
    files = unpacked(correct(found, Corrections(tuple(items))))
    (said,) = (data for name, data in files.items() if name.endswith("_kind.txt"))
    assert said.decode() == kind


def test_training_reads_the_archive_as_a_photograph_with_its_scale(found: Measurement, tmp_path: Path) -> None:
    done = correct(found, MORE)
    with zipfile.ZipFile(io.BytesIO(training_zip(done))) as archive:
        archive.extractall(tmp_path)
    ((folder, name),) = pictures([tmp_path])
    truth = read_truth(folder, name)
    assert truth.kind in ("edge", "pads", "mixed")
    assert truth.px_per_mm == pytest.approx(8.0, abs=1e-4)
    assert truth.known.mean() < 0.1
    assert (truth.gold == done.coverage.share).all()


def test_training_data_tell_neither_place_nor_time(found: Measurement) -> None:
    (data,) = (d for name, d in unpacked(found).items() if name.endswith(".jpg"))
    with Image.open(io.BytesIO(data)) as picture:
        assert not picture.getexif()
    assert b"Exif" not in data


def test_without_boards_there_is_no_mask_of_them() -> None:
    nothing = measure(photo(), Request(segmenter=KnownCoverage(np.zeros(SHAPE), np.zeros(SHAPE, bool))))
    assert not any(name.endswith("_board.png") for name in unpacked(nothing))


def decoded(data: bytes) -> np.ndarray[Any, np.dtype[np.uint8]]:
    read: Callable[..., Any] = cv2.imdecode
    return np.asarray(read(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED), np.uint8)
