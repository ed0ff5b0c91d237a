"""Photos of a lot are measured once: what compares them takes what was measured."""

from __future__ import annotations

from pathlib import Path
from threading import Lock

import cv2
import pytest

from app.lots import matching
from app.lots.fresh import FreshMeasurements
from app.lots.lot_folder import LotFolder
from app.lots.matching import Matching
from app.lots.measuring import Measuring, Order
from app.lots.sheets import kept_sheet, made_of
from calibration.thickness import gold_properties
from grader.photo import load_photo
from grader.pipeline import measure
from grader.request import Request
from grader.samples import samples_folder


def pictures() -> list[bytes]:
    whole = cv2.imread(str(samples_folder() / "memory-modules.jpg"))
    small = cv2.resize(whole, None, fx=0.35, fy=0.35, interpolation=cv2.INTER_AREA)
    return [cv2.imencode(".jpg", each)[1].tobytes() for each in (small, cv2.rotate(small, cv2.ROTATE_180))]


def test_a_lots_pictures_are_measured_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lot, one, fresh = LotFolder(tmp_path / "lot"), Lock(), FreshMeasurements()
    orders = [Order(f"{n}.jpg", lot.hand_in(f"{n}.jpg", data).sha256, Request()) for n, data in enumerate(pictures())]
    Measuring(orders, lot, one, fresh=fresh).run()
    with monkeypatch.context() as patched:
        patched.setattr(matching, "measure", None)  # it would fail
        followed = Matching(lot, one, fresh)
        followed.run()
    sheet = kept_sheet(lot)
    assert followed.error is None
    assert sheet is not None
    assert sheet.made_of == made_of(lot)
    # another comparison, as after a restart, measures again and finds the same
    (lot.folder / "sheet.json").unlink()
    Matching(lot, one, fresh).run()
    assert kept_sheet(lot) == sheet


def test_the_oldest_go_where_room_is_short() -> None:
    found = [measure(load_photo(data, "p.jpg")) for data in pictures()]
    fresh = FreshMeasurements(found[0].photo.rgb.size // 3)
    for each in found:
        fresh.put(each)
    first, second = (each.photo.sha256 for each in found)
    assert fresh.take(first, Request()) is None
    assert fresh.take(second, Request()) is found[1]
    assert fresh.take(second, Request()) is None


def test_a_photo_measured_with_learned_thickness_is_found_again() -> None:
    """Learned figures come as a mapping, which has no hash."""
    learned, data = Request(properties=dict(gold_properties())), pictures()[0]
    found = measure(load_photo(data, "p.jpg"), learned)
    fresh = FreshMeasurements()
    fresh.put(found)
    assert fresh.take(found.photo.sha256, Request()) is None
    assert fresh.take(found.photo.sha256, learned) is found
