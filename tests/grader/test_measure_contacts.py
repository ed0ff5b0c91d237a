"""Contacts of a published outline: scale where nothing else gives one, and a witness where something does."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.families import family_named
from calibration.from_contacts import ContactLine, contradiction, scale_from_contacts
from calibration.plane import UniformPlane
from calibration.scale import Scale
from calibration.view import View
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import ByCoin, ByRectangle, ScaleChoice
from tests.drawn_boards import KnownCoverage, box, polygon_share, union_share
from tests.measured_photos import document_of

WIDE_MM, HIGH_MM, PX = 100.0, 40.0, 8.0
ID_1 = box((50.0, 20.0), 85.60, 53.98)


def photograph(title: str, layout: tuple[int, ...], choice: ScaleChoice | None, px_per_mm: float = PX) -> Measurement:
    """One face of a published outline on a board, every pixel's share of plating known."""
    family = family_named(title)
    size = (family.contact_width_mm, family.contact_length_mm[1])
    middles = 8.0 + family.pitch_mm * family.places(layout)
    shape = (round(HIGH_MM * px_per_mm), round(WIDE_MM * px_per_mm))
    share = union_share([box((x, 30.0), *size) * px_per_mm - 0.5 for x in middles], shape)
    board = polygon_share(box((50.0, 24.0), 96.0, 18.0) * px_per_mm - 0.5, shape) > 0.5
    photo = Photo("edge.png", "12" * 32, np.zeros((*shape, 3), np.uint8), "PNG", None)
    wanted = Request(segmenter=KnownCoverage(share, board))
    if choice is not None:
        wanted = Request(scale=choice, segmenter=KnownCoverage(share, board))
    return measure(photo, wanted)


def card(factor: float) -> ByRectangle:
    """A card's corners, with sides stated by that factor too large."""
    corners = tuple((float(x), float(y)) for x, y in (ID_1 - [0, 0]) * PX - 0.5)
    inside = tuple((x, min(max(y, 0.0), HIGH_MM * PX - 1)) for x, y in corners)
    height = (inside[2][1] - inside[1][1]) / PX
    return ByRectangle((85.60 * factor, height * factor), inside)  # type: ignore[arg-type]


def codes(done: Measurement) -> set[str]:
    return {n.code for n in done.notices}


def area_mm2(done: Measurement) -> float:
    assert done.area is not None
    return sum(t.coefficient for t in done.area.total.terms)


@pytest.mark.parametrize("px_per_mm", [6.0, 8.0, 12.0])
@pytest.mark.parametrize(("title", "layout"), [("PCI Express", (11, 38)), ("PCI, 32 bit", (49, 11))])
def test_contacts_give_the_scale_where_nothing_else_does(
    title: str, layout: tuple[int, ...], px_per_mm: float
) -> None:
    done = photograph(title, layout, None, px_per_mm)
    assert done.refused is None
    assert done.scale is not None
    assert done.scale.method == "pitch"
    assert done.scale.px_per_mm == pytest.approx(px_per_mm, rel=2e-3)
    assert {"scale-from-contacts", "tilt-unknown"} <= codes(done)
    family = family_named(title)
    truth = sum(layout) * family.contact_width_mm * family.contact_length_mm[1]
    # drawn to a sixteenth of a pixel: 1.5 % of a contact 4.2 px wide
    assert area_mm2(done) == pytest.approx(truth, rel=0.1 / px_per_mm)
    assert done.area is not None
    low, high = np.quantile(done.area.total.draws(), [0.05, 0.95])
    assert low < truth < high


def test_contacts_that_fit_nothing_leave_the_photo_without_scale() -> None:
    family = family_named("PCI Express")
    done = photograph(family.title, (11, 38), None)
    assert done.scale is not None
    row = union_share(
        [box((8.0 + x, 30.0), 0.7, 4.3) * PX - 0.5 for x in np.r_[np.arange(20), 23 + np.arange(20)]], (320, 800)
    )
    photo = Photo("edge.png", "12" * 32, np.zeros((320, 800, 3), np.uint8), "PNG", None)
    other = measure(photo, Request(segmenter=KnownCoverage(row, row >= 0)))
    assert other.scale is None
    assert other.refused is not None
    assert other.refused.code == "no-scale"


@pytest.mark.parametrize("factor", [0.9, 1.1])
def test_a_wrong_length_is_contradicted_by_the_contacts_with_both_numbers(factor: float) -> None:
    done = photograph("PCI Express", (11, 38), card(factor))
    assert done.scale is not None
    assert done.scale.method == "rectangle"
    [told] = [n for n in done.notices if n.code == "pitch-contradicts-scale"]
    assert "1.000 mm" in told.message
    assert f"{factor:.1f}" in told.message


def test_a_right_length_is_not_contradicted() -> None:
    done = photograph("PCI Express", (11, 38), card(1.0))
    assert "pitch-contradicts-scale" not in codes(done)


def test_a_coin_beside_the_board_gives_the_scale_and_is_named() -> None:
    a = np.arange(10) * np.pi / 5
    rim = np.column_stack([30.0 + 8.125 * np.cos(a), 10.0 + 8.125 * np.sin(a)]) * PX - 0.5
    done = photograph("PCI Express", (11, 38), ByCoin(16.25, 1.67, tuple((float(x), float(y)) for x, y in rim)))
    assert done.scale is not None
    assert done.scale.px_per_mm == pytest.approx(PX, rel=0.01)
    document = document_of(done)
    assert document["scale"]["method"] == "length"
    assert document["scale"]["known"] == "coin"
    assert "pitch-contradicts-scale" not in codes(done)
    contacts = (*document["loose_contacts"], *document["boards"][0]["contacts"])
    assert [c["outline"] for c in contacts] == ["PCI Express"]
    assert [c["missing"] for c in contacts] == [0]


def line(px_per_mm: float, places: np.ndarray | None = None, closer: float = 0.0) -> ContactLine:
    at = family_named("PCI Express").places((11, 71)) if places is None else places
    x = at / (1 + closer * at / max(at[-1], 1)) * px_per_mm
    return ContactLine("PCI Express", 1.0, at, np.column_stack([100 + x, np.full(len(x), 300.0)]), len(at))


def scale_of(px_per_mm: float) -> Scale:
    return Scale("length", UniformPlane(px_per_mm), px_per_mm, ())


def test_the_allowance_follows_the_uncertainties() -> None:
    assert contradiction(line(10.0), scale_of(10.0)) is None
    assert contradiction(line(10.0), scale_of(9.8)) is not None
    rough = scale_from_contacts(View((900, 1600, 3), id="p"), line(9.8))  # tilt is in its range
    assert contradiction(line(10.0), rough) is None


def test_jitter_and_perspective_leave_the_scale_of_the_row_in_place() -> None:
    clean = scale_from_contacts(View((900, 1600, 3), id="p"), line(10.0))
    rng = np.random.default_rng(1)
    shaken = line(10.0)
    shaken.centres_px[:] += rng.normal(0, 0.3, shaken.centres_px.shape)
    loose = scale_from_contacts(View((900, 1600, 3), id="p"), shaken)
    assert clean.px_per_mm == pytest.approx(10.0, rel=1e-9)
    assert loose.px_per_mm == pytest.approx(10.0, rel=1e-3)
    spread = {
        s.area_inputs[1].name: [i.distribution.parameters[1] for i in s.area_inputs[1:]] for s in (clean, loose)
    }
    assert len(spread) == 1
    assert loose.area_inputs[1].distribution.parameters[1] > clean.area_inputs[1].distribution.parameters[1]
    tilted = line(10.0, closer=0.1)
    assert scale_from_contacts(View((900, 1600, 3), id="p"), tilted).px_per_mm == pytest.approx(10 / 1.1, rel=1e-6)


def test_inputs_name_the_contacts_and_their_plane_is_the_face_itself() -> None:
    scale = scale_from_contacts(View((900, 1600, 3), id="p"), line(10.0))
    names = [i.name for i in scale.area_inputs]
    assert names == ["scale-tilt:p", "scale-marking:p", "scale-stated:p"]
    assert "contacts" in scale.area_inputs[1].title
    assert "contacts" in scale.area_inputs[2].title
