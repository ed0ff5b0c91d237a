"""The report of a lot: the same figures on paper, as HTML, as JSON and as CSV, whatever names hold."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import date
from functools import cache
from html.parser import HTMLParser
from typing import Any

import cv2
import numpy as np
import pypdfium2
import pytest

from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.finishes import FINISH_RGB
from calibration.inputs import Input
from grader.cautions import lines_for
from grader.lot import estimate_lot, one_part
from grader.measured import Measured, usable
from grader.model import Range
from grader.photo import Photo
from grader.pipeline import measure
from grader.report.blocks import Picture
from grader.report.lot_csv import COLUMNS, lot_csv
from grader.report.lot_html import lot_html
from grader.report.lot_pdf import LACKING, lot_pdf
from grader.report.lot_report import LotReport, ReportedCuts, ReportedPhoto
from grader.report.photo_blocks import NO_PICTURE
from grader.report.plating import measured_picture, picture_jpeg
from grader.request import Request
from grader.scale_choice import ByLength
from grader.valuation import VISIBLE_PLATING_ONLY, load_assumptions, value_lot, with_given
from tests.drawn_boards import KnownCoverage, box, contact_row, polygon_share, union_share

SHAPE = (400, 600)
PX_PER_MM = 8.0
CARD = box((37.0, 25.0), 60.0, 40.0) * PX_PER_MM
SHAPES = [c * PX_PER_MM for c in (*contact_row((20.0, 42.3), 20, 1.5, (1.0, 4.3)), box((37.0, 15.0), 6.0, 5.0))]
ERROR = Input("segmentation", "segmentation", Distribution("lognormal", (1.0, 0.1)), "test", of=("test",))
AWKWARD = '=1+1 <script>alert("x")</script> & <b>söme</b> ][ {{x}}'
PLAN: dict[str, Any] = {
    "schema": 1,
    "photo": AWKWARD,
    "boards": [
        {
            "size_mm": [60.0, 40.0],
            "cuts": [{"edge": "bottom", "at_mm": 7.5, "at_in": 7.5 / 25.4, "from_mm": 0.0, "to_mm": 60.0}],
            "pieces": [
                {
                    "kept": True,
                    "box_mm": [0.0, 60.0, 32.5, 40.0],
                    "mass_g": Range(1.5, 1.4, 1.6).as_json(),
                    "gold_mg": Range(0.9, 0.2, 2.0).as_json(),
                }
            ],
            "share_lost": 0.0,
        },
        {"error": {"code": "no-cut-fits", "message": "No cuts fit.", "advice": "Choose a larger vessel."}},
    ],
    "notes": ["Look at the other face."],
}


@cache
def measurement(name: str = "card.jpg") -> Any:
    known = KnownCoverage(union_share(SHAPES, SHAPE), polygon_share(CARD, SHAPE) > 0.5, (ERROR,))
    photo = Photo(name, "cd" * 32, np.full((*SHAPE, 3), 90, np.uint8), "JPEG", 500.0)
    return measure(photo, Request(ByLength(60.0, tuple(CARD[0]), tuple(CARD[1])), segmenter=known))


def report(title: str = "crate 7", name: str = "card.jpg", *, priced: bool = True, shown: bool = True) -> LotReport:
    made = reported(name)
    photo = replace(made.photos[0], picture=made.photos[0].picture if shown else None)
    return replace(made, title=title, photos=(photo,), offer=made.offer if priced else None)


@cache
def reported(name: str) -> LotReport:
    """The whole report under a photo's name, valued once."""
    measured = Measured.of(measurement(name))
    estimate = estimate_lot(one_part(usable([("test", measured)]), count="3000"))
    today = date(2026, 11, 25)
    figures = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=today, costs=["1 USD"])
    offer = value_lot(estimate.gold_mg, figures, today=today, mass_g=estimate.mass_g, lot=estimate.as_json())
    drawn = measured_picture(measured, measurement(name).photo.rgb, 1400)
    picture = Picture(picture_jpeg(drawn), drawn.shape[1], drawn.shape[0], f"The photo {name}")
    return LotReport(
        "crate 7",
        today,
        (ReportedPhoto(measured, picture),),
        Range.of(estimate.gold_mg.draws()),
        estimate.as_json(),
        offer,
        (ReportedCuts({**PLAN, "photo": name}),),
    )


class Page(HTMLParser):
    """What an HTML file holds: its elements with their attributes, and its text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def pdf_pages(data: bytes) -> list[tuple[str, Any]]:
    """Text and picture (RGB) of each page."""
    pages = []
    for page in pypdfium2.PdfDocument(data):
        text = " ".join(page.get_textpage().get_text_range().split())
        pages.append((text, np.asarray(page.render(scale=1.5).to_pil().convert("RGB"))))
    return pages


def words_of(made: LotReport) -> list[str]:
    """What every form for people must say."""
    offer = made.offer
    assert offer is not None
    return [
        VISIBLE_PLATING_ONLY,
        *lines_for("cut"),
        f"Highest price worth paying: {offer.highest_price}",
        "hard gold",
        "What makes the gold's range wide",
        "chance of a loss",
        "7.5 mm (0.30 in)",
        "No cuts fit.",
        "2026-11-25",
        made.as_json()["program"],
        "Look at the other face.",
    ]


def test_html_and_paper_say_the_same() -> None:
    made = report()
    html = Page(lot_html(made)).text
    paper = " ".join(text for text, _ in pdf_pages(lot_pdf(made)))
    for words in words_of(made):
        assert words in html
        assert words.replace("\u2019", "'") in paper


def test_html_needs_nothing_else_and_runs_nothing() -> None:
    page = Page(lot_html(report()))
    assert {tag for tag, _ in page.elements} <= {
        "html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "h3", "p", "div", "table", "caption",
        "br", "thead", "tbody", "tr", "th", "td", "figure", "img", "figcaption",
    }  # fmt: skip
    images = [attributes for tag, attributes in page.elements if tag == "img"]
    assert images
    assert all((image["src"] or "").startswith("data:image/jpeg;base64,") and image["alt"] for image in images)
    assert not any(name in attributes for _, attributes in page.elements for name in ("href", "onload", "onerror"))


@pytest.mark.parametrize("which", ["title", "name"])
def test_names_are_shown_as_they_are_typed(which: str) -> None:
    made = report(**{which: AWKWARD})
    page = Page(lot_html(made))
    assert not {"script", "b"} & {tag for tag, _ in page.elements}
    assert " ".join(AWKWARD.split()) in page.text
    assert AWKWARD in " ".join(text for text, _ in pdf_pages(lot_pdf(made)))
    cells = [cell for row in csv.reader(io.StringIO(lot_csv(made))) for cell in row]
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)
    assert f"'{AWKWARD}" in cells


def test_paper_says_where_it_lacks_letters() -> None:
    assert LACKING in pdf_pages(lot_pdf(report(title="Коробка")))[0][0]
    assert LACKING not in pdf_pages(lot_pdf(report(title="Schätzung für 5 µm")))[0][0]
    assert "Коробка" in lot_html(report(title="Коробка"))


def test_every_page_of_paper_keeps_the_reminder_at_its_foot_and_nothing_runs_over() -> None:
    pages = pdf_pages(lot_pdf(report(), "letter"))
    assert len(pages) >= 2
    for number, (text, picture) in enumerate(pages, 1):
        assert VISIBLE_PLATING_ONLY in text
        assert str(number) in text
        height, width = picture.shape[:2]
        edge = round(9 / 25.4 * 72 * 1.5)
        inner = np.zeros((height, width), bool)
        inner[edge:-edge, edge:-edge] = True
        assert (picture[~inner] == 255).all(), "something is printed into the margin"
        assert (picture[round(height * 0.9) :] < 128).any(), "the foot of the page is empty"


def test_the_photo_on_paper_shows_the_plating_in_its_place() -> None:
    """The picture on the page, found by its grey, has the finish's colour where the contacts are."""
    pages = pdf_pages(lot_pdf(report()))
    grey = [np.all(np.abs(p.astype(int) - 90) < 6, axis=2) for _, p in pages]
    page = int(np.argmax([g.sum() for g in grey]))
    # letters have some grey pixels, too, but no line full of them
    ys, xs = (np.flatnonzero(grey[page].sum(axis=axis) > 100) for axis in (1, 0))
    top, left = ys.min(), xs.min()
    k = (xs.max() - left + 1) / SHAPE[1]
    seen = pages[page][1]
    for shape, finish in ((SHAPES[9], "hard_gold"), (SHAPES[-1], "immersion_gold")):
        (x0, y0), (x1, y1) = np.round([left, top] + k * np.array([shape.min(axis=0), shape.max(axis=0)])).astype(int)
        red, _, blue = seen[y0:y1, x0:x1].astype(float).mean(axis=(0, 1))
        assert (red - blue) * np.sign(FINISH_RGB[finish][0] - FINISH_RGB[finish][2]) > 15, finish


def test_without_photo_or_price_the_report_says_so_and_makes_no_offer() -> None:
    made = report(priced=False, shown=False)
    text = Page(lot_html(made)).text
    assert NO_PICTURE in text
    assert "Highest price" not in text
    assert made.as_json()["offer"] is None
    assert pdf_pages(lot_pdf(made))


def test_json_holds_the_measurements_and_the_offer_themselves() -> None:
    made = report()
    written = json.loads(json.dumps(made.as_json(), allow_nan=False))
    assert written["photos"] == [json.loads(json.dumps(made.photos[0].measured.to_dict()))]
    assert made.offer is not None
    assert written["offer"] == json.loads(json.dumps(made.offer.as_json()))
    assert [c["text"] for c in written["cautions"]] == lines_for("cut")
    assert VISIBLE_PLATING_ONLY in written["statements"]


def test_the_table_holds_the_same_figures() -> None:
    made = report()
    rows = list(csv.DictReader(io.StringIO(lot_csv(made))))
    assert tuple(rows[0]) == COLUMNS
    by_name = {(r["section"], r["item"], r["quantity"]): r for r in rows}
    assert len(by_name) == len(rows)
    gold = by_name["photo", "card.jpg", "gold"]
    shown = made.photos[0].measured.gold_mg
    assert {key: float(gold[key]) for key in ("value", "low", "high", "level")} == shown.as_json()
    assert gold["unit"] == "mg"
    assert made.offer is not None
    highest = by_name["offer", "crate 7", "highest price worth paying"]
    assert float(highest["value"]) == made.offer.highest.price
    assert highest["unit"] == "USD"
    assert float(by_name["cut", "card.jpg, board 1", "cut 1, from the bottom edge"]["value"]) == 7.5


def test_the_same_report_is_the_same_file() -> None:
    assert lot_pdf(report()) == lot_pdf(replace(report()))


def test_rings_enclose_what_is_plated_by_finish() -> None:
    rings = Measured.of(measurement()).plating_px
    areas = {f: sum(cv2.contourArea(np.array(r, np.int32)) for r in found) for f, found in rings.items()}
    for finish, count, (a, b) in (("hard_gold", 20, (1.0, 4.3)), ("immersion_gold", 1, (6.0, 5.0))):
        # rings run through the middles of the outermost pixels, up to half a pixel inside the outline
        outside, inside = (count * (a * PX_PER_MM - less) * (b * PX_PER_MM - less) for less in (0, 1))
        assert inside <= areas[finish] <= outside
    assert areas["undetermined"] == 0


def test_a_hole_stays_a_hole_in_the_picture() -> None:
    plane = [[0, 0], [59, 0], [59, 39], [0, 39]]
    hole = [[20, 10], [40, 10], [40, 30], [20, 30]]
    measured = Measured(photo="a.jpg", plating_px={"hard_gold": (plane, hole)})
    picture = measured_picture(measured, np.full((40, 60, 3), 90, np.uint8), 100)
    assert tuple(picture[20, 30]) == (90, 90, 90)
    assert picture[5, 5, 0] > 120


@pytest.mark.parametrize("lacking", ["plating_px", "photo_checks", "budget", "by_finish", "board_count", "segmenter"])
def test_measurements_of_older_programs_can_be_reported(lacking: str) -> None:
    made = report()
    older = Measured.from_dict({k: v for k, v in made.photos[0].measured.to_dict().items() if k != lacking})
    assert measured_picture(older, measurement().photo.rgb, 300).shape == (200, 300, 3)
    assert "By finish" in lot_html(replace(made, photos=(ReportedPhoto(older),)))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("budget", [5]), ("budget", None), ("scale", {"method": 1}), ("gold_mg", {"value": 1.0}),
        ("taken_at", 5.0), ("by_finish", []), ("corrections", "painted"),
        ("warnings", [{"code": "x", "message": [1], "advice": "y"}]),
        ("plated_area_mm2", {"value": [], "low": 1, "high": {}, "level": 1}),
    ],
)  # fmt: skip
def test_a_measurement_that_was_edited_is_refused_whole(key: str, value: object) -> None:
    sound = report().photos[0].measured.to_dict()
    with pytest.raises(DataFileError) as caught:
        Measured.from_dict({**sound, key: value})
    assert caught.value.code == "measurement-invalid"


def test_a_plan_that_was_edited_is_refused_whole() -> None:
    made = replace(report(), cuts=(ReportedCuts({**PLAN, "boards": [{"pieces": 5}]}),))
    with pytest.raises(DataFileError):
        lot_html(made), lot_csv(made)
