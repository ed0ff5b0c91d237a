"""The kinds of input, each with sound examples and with what the program does with them."""

from __future__ import annotations

import io
import json
import random
import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
from PIL import Image

from calibration.print_check import load_print_check
from calibration.target import own_target, parse_target
from grader.batch import Given, Vessels, charge_of, load_process, plan_batch, read_cut_plan
from grader.batch.words import batch_document
from grader.correct import parse_corrections
from grader.correct.measured import correct
from grader.coverage import Coverage
from grader.cut import CutRules, Vessel, cut_boards, plan_boards
from grader.cut.words import cut_document
from grader.grade import grade_boards, load_thresholds, measured_candidates
from grader.grade.words import grades_document
from grader.learn.csv_import import entries, read_csv
from grader.log import NewLot, NewPurchase, NewYield, open_log, photo_of, to_csv, to_json
from grader.log.copies import restore
from grader.lot import estimate_lot, lot_of, one_part, read_claim
from grader.measured import documents_in, measurements_of, read_measurements
from grader.photo import load_photo
from grader.pipeline import Measurement, measure
from grader.report.lot_csv import lot_csv
from grader.report.lot_html import lot_html
from grader.report.lot_report import LotReport, ReportedPhoto
from grader.request import Request
from grader.scale_choice import ByLength
from grader.units import (
    parse_area_mm2,
    parse_fineness,
    parse_hours,
    parse_length_mm,
    parse_mass_g,
    parse_money,
    parse_pair_mm,
    parse_price_per_mass,
    parse_share,
    parse_thickness_um,
    parse_volume_ml,
    parse_weeks,
    parse_weighed_mg,
)  # fmt: skip
from grader.units.estimates import amount_estimate, cost_estimate, quantity_estimate, share_estimate
from grader.valuation import Assumptions, load_assumptions, value_lot, with_given
from tests.fuzz.mutate import damaged_bytes, damaged_json, damaged_text
from tests.measured_photos import document_of

Run = Callable[[random.Random, Path], object]
DAY = date(2026, 11, 20)
DRAWS = 1000  # so that a case takes milliseconds
TABLE, MASK, GOLD = (120, 120, 125), (30, 90, 50), (190, 150, 70)


@dataclass(frozen=True)
class Kind:
    """A kind of input.

    Attributes:
        share: of all cases, to be weighed against the others'.
        run: damages an example by random numbers, and does with it what the program does, in an empty folder.
    """

    share: int
    run: Run


class _ByColour:
    """Coverage read off the drawn colours."""

    name = "drawn"

    def segment(self, photo: Any, scale: object) -> Coverage:
        gold = (photo.rgb == GOLD).all(axis=2)
        return Coverage(gold.astype(np.uint8) * np.uint8(255), gold | (photo.rgb == MASK).all(axis=2), self.name, ())


# --- photos


@cache
def _pictures() -> tuple[bytes, ...]:
    rng = np.random.default_rng(1)
    picture = Image.fromarray(rng.integers(0, 256, (9, 12, 3), np.uint8)).resize((96, 72), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif[0x0112] = 6
    made = []
    for form, more in (
        ("JPEG", {"exif": exif}), ("JPEG", {"progressive": True}), ("PNG", {}), ("WEBP", {}),
        ("WEBP", {"lossless": True}),
        ("TIFF", {}), ("TIFF", {"compression": "tiff_lzw"}), ("TIFF", {"compression": "tiff_adobe_deflate"}),
        ("TIFF", {"compression": "packbits"}),
    ):  # fmt: skip
        file = io.BytesIO()
        picture.save(file, form, **more)
        made.append(file.getvalue())
    file = io.BytesIO()
    pillow_heif.from_pillow(picture).save(file, format="HEIF")
    return (*made, file.getvalue())


def _photo(rng: random.Random, _: Path) -> object:
    photo = load_photo(damaged_bytes(rng, rng.choice(_pictures())), "damaged")
    assert photo.rgb.ndim == 3
    assert photo.rgb.dtype == np.uint8
    return photo.sha256


# --- a measurement, and what goes on from it


@cache
def _measured() -> Measurement:
    picture = np.full((400, 600, 3), TABLE, np.uint8)
    picture[50:200, 60:300] = picture[230:350, 320:520] = MASK
    picture[60:75, 80:200] = picture[240:260, 340:360] = GOLD
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "PNG")
    request = Request(ByLength(60.0, (60.0, 50.0), (300.0, 50.0)), 1.6, None, _ByColour())
    return measure(load_photo(file.getvalue(), "boards.png"), request)


@cache
def _document() -> Any:
    return json.loads(json.dumps(document_of(_measured())))


def _given() -> Assumptions:
    return with_given(load_assumptions(), spot="85 USD/g", spot_date=DAY)


def _measurement(rng: random.Random, folder: Path) -> object:
    path = folder / "boards.json"
    path.write_bytes(damaged_json(rng, _document()))
    measured = read_measurements([path])
    match rng.randrange(4):
        case 0:
            count = rng.choice(("", "30", "28..32"))
            estimate = estimate_lot(one_part(measured, count=count, other_face=rng.choice(("alike", "left_out"))))
            offer = value_lot(
                estimate.gold_mg, _given(), today=DAY, mass_g=estimate.mass_g, lot=estimate.as_json(), draws=DRAWS
            )
            return json.dumps(offer.as_json(), allow_nan=False)
        case 1:
            estimate = estimate_lot(one_part(measured))
            made = LotReport.of_estimate("x", tuple(ReportedPhoto(m) for m in measured), estimate)
            return lot_html(made), lot_csv(made), json.dumps(made.as_json(), allow_nan=False)
        case 2:
            grades = grade_boards(measured_candidates(measured), _given(), load_thresholds(), draws=DRAWS)
            return json.dumps(grades_document(grades, load_thresholds(), []), allow_nan=False)
        case _:
            charge = charge_of(Given(mass="90 g"), measured)
            return _batch_of(charge)


def _batch_of(charge: Any, process: str | None = None) -> object:
    plan = plan_batch(charge, load_process(process), Vessels(1000.0, 1), load_assumptions(), DRAWS)
    return json.dumps(batch_document(plan), allow_nan=False)


@cache
def _cut_document() -> Any:
    done = _measured()
    boards = plan_boards(cut_boards(done), CutRules(Vessel(100.0, 100.0, 1.6)))
    return json.loads(json.dumps(cut_document("boards.png", boards, None)))


def _cut_plan(rng: random.Random, folder: Path) -> object:
    path = folder / "plan.json"
    path.write_bytes(damaged_json(rng, _cut_document()))
    pieces = [read_cut_plan(document) for document in documents_in(path)]
    return charge_of(Given(plated_area="42 cm2"), measurements_of([("x", _document())]), pieces)


_CORRECTIONS = {
    "schema": 1,
    "sha256": "",
    "corrections": [
        {"kind": "finish", "at_px": [100, 65], "finish": "hard_gold"},
        {"kind": "leave_out", "at_px": [350, 250]},
        {
            "kind": "paint_in",
            "path_px": [[120.5, 100], [140, 110], [150, 100]],
            "radius_px": 6,
            "finish": "hard_gold",
        },
        {"kind": "paint_out", "path_px": [[90, 65]], "radius_px": 12.5},
    ],
}


def _corrections(rng: random.Random, _: Path) -> object:
    found = parse_corrections(damaged_json(rng, _CORRECTIONS))
    if rng.random() < 0.3:
        document = document_of(correct(_measured(), found))
        return json.dumps(document, allow_nan=False)
    return found


# --- what people write


def _written(rng: random.Random, path: Path, text: str) -> Path:
    data = damaged_text(rng, text).encode("utf-8", "surrogatepass")
    path.write_bytes(damaged_bytes(rng, data) if rng.random() < 0.1 else data)
    return path


@cache
def _example(name: str) -> str:
    import grader.batch
    import grader.grade
    import grader.valuation

    return {
        "assumptions": grader.valuation.example_text() + '\n[spot]\nprice = "85 USD/g"\ndate = 2026-11-20\n',
        "process": grader.batch.example_process_text(),
        "thresholds": grader.grade.example_thresholds_text(),
    }[name]


def _assumptions(rng: random.Random, folder: Path) -> object:
    found = load_assumptions(_written(rng, folder / "mine.toml", _example("assumptions")))
    if rng.random() < 0.3:
        estimate = estimate_lot(one_part(measurements_of([("x", _document())]), count="20"))
        return json.dumps(
            value_lot(estimate.gold_mg, found, today=DAY, mass_g=estimate.mass_g, draws=DRAWS).as_json(),
            allow_nan=False,
        )
    return found


def _process(rng: random.Random, folder: Path) -> object:
    path = _written(rng, folder / "mine.toml", _example("process"))
    if rng.random() < 0.3:
        return _batch_of(charge_of(Given("470 g", "60..120 mg", "42 cm2", "")), str(path))
    return load_process(str(path))


def _thresholds(rng: random.Random, folder: Path) -> object:
    found = load_thresholds(_written(rng, folder / "mine.toml", _example("thresholds")))
    if rng.random() < 0.3:
        measured = measurements_of([("x", _document())])
        grades = grade_boards(measured_candidates(measured), _given(), found, draws=DRAWS)
        return json.dumps(grades_document(grades, found, []), allow_nan=False)
    return found


_PARTS = """[[part]]
name = "modules"
count = "28..32"
other_face = "alike"
[[part.photo]]
front = "boards.png"
boards = 4
weighed = "72 g"

[[part]]
name = "cards"
mass = "4.5..5 kg"
[[part.photo]]
front = "other.png"
back = "back.png"
"""


def _parts(rng: random.Random, folder: Path) -> object:
    claim = read_claim(_written(rng, folder / "lot.toml", _PARTS))
    more = [{**_document(), "photo": name, "sha256": name} for name in ("other.png", "back.png")]
    lot = lot_of(claim, measurements_of([("x", d) for d in (_document(), *more)]))
    if rng.random() < 0.3:
        estimate = estimate_lot(lot)
        offer = value_lot(
            estimate.gold_mg, _given(), today=DAY, mass_g=estimate.mass_g, lot=estimate.as_json(), draws=DRAWS
        )
        return json.dumps(offer.as_json(), allow_nan=False)
    return lot


_TEXTS: Mapping[Callable[[str], object], str] = {
    parse_area_mm2: "4.2 cm2", parse_fineness: "999.9", parse_hours: "2.5 h", parse_length_mm: "3 ft 2 1/2 in",
    parse_mass_g: "1 lb 2 oz", parse_money: "1,200.50 USD", parse_pair_mm: "133.35 x 31.25 mm",
    parse_price_per_mass: "2650 USD/ozt", parse_share: "93.5 %", parse_thickness_um: "30 uin",
    parse_volume_ml: "1.5 l", parse_weeks: "6 weeks", parse_weighed_mg: "0.42 g", amount_estimate: "4..8 USD/l",
    share_estimate: "85..94..99 %", quantity_estimate: "90..120 min",
    lambda text: cost_estimate(text, text): "5 USD/l",
}  # fmt: skip


def _texts(rng: random.Random, _: Path) -> object:
    read, example = rng.choice(list(_TEXTS.items()))
    return read(damaged_text(rng, example))


def _target(rng: random.Random, folder: Path) -> object:
    if rng.random() < 0.2:
        (folder / "bar.json").write_bytes(damaged_json(rng, {"schema": 1, "bar_mm": 99.4}))
        return load_print_check(folder / "bar.json")
    own = own_target("a4")
    described = {
        "dictionary": "DICT_5X5_100", "squares_x": 7, "squares_y": 5, "square_mm": 20.0, "marker_mm": 15.0,
        "legacy_pattern": False, "charuco_origin_in_sheet_mm": list(own.origin_mm), "sheet_mm": [180.0, 128.0],
        "grey_patches": [{"reflectance": 0.18, "x0_mm": 1, "y0_mm": 2, "x1_mm": 3, "y1_mm": 4}],
    }  # fmt: skip
    return parse_target(damaged_json(rng, described))


# --- the log


_CSV = """lot,mass,weighed_on,uncertainty,fineness,note
attic lot,0.42 g,2026-11-20,0.01 g,900,"first, of two"
2,51 mg,2026-11-21,,,
Attic Lot,1 dwt,2026-11-22,1 mg,,é
"""


@cache
def _log(folder: Path) -> tuple[bytes, Any]:
    path = folder / "sound.sqlite"
    with open_log(path) as log:
        for name in ("attic lot", "shoebox"):
            log.add_lot(NewLot(name=name, seller="the clear-out", part="modules", note=""))
        log.add_estimates(1, [(photo_of(_document()), _document())])
        log.add_purchase(1, NewPurchase(price="40", currency="USD", mass_g=470.0, count=4, bought_on=DAY))
        for mass_mg in (20.0, 30.0):
            log.add_yield(1, NewYield(mass_mg=mass_mg, weighed_on=DAY))
        contents = log.contents()
    return path.read_bytes(), contents


def _csv(rng: random.Random, folder: Path) -> object:
    data = damaged_text(rng, _CSV).encode("utf-8", "replace")
    rows = read_csv(data.decode("utf-8-sig", "replace"), _log(folder.parent)[1])
    return entries(rows)


def _log_copy(rng: random.Random, folder: Path) -> object:
    copy, place = folder / "copy.sqlite", folder / "log.sqlite"
    copy.write_bytes(damaged_bytes(rng, _log(folder.parent)[0]))
    if rng.random() < 0.5:
        restore(copy, place)
        copy = place
    with open_log(copy, must_exist=True) as log:
        contents = log.contents()
    return to_json(contents), to_csv(contents, "lots"), to_csv(contents, "yields")


KINDS: Mapping[str, Kind] = {
    "photo": Kind(30, _photo),
    "measurement": Kind(14, _measurement),
    "cut-plan": Kind(4, _cut_plan),
    "corrections": Kind(10, _corrections),
    "assumptions": Kind(10, _assumptions),
    "process": Kind(4, _process),
    "thresholds": Kind(4, _thresholds),
    "parts": Kind(8, _parts),
    "texts": Kind(12, _texts),
    "target": Kind(4, _target),
    "csv": Kind(8, _csv),
    "log-copy": Kind(6, _log_copy),
}


def prepare(folder: Path) -> None:
    """Make the sound examples, which the first case of each kind would else be charged with."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        _pictures(), _document(), _cut_document(), _log(folder)
