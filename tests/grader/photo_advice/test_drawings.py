"""The drawings and the printable page: seen as pictures, not as code."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from calibration.target import PAPER_MM, Paper
from grader.photo_advice import CHECKS, HOW, CheckName
from grader.photo_advice.drawings import GAP, HALF_WIDTH, HEIGHT, WIDTH, drawing, drawing_svg
from grader.photo_advice.how_to_pdf import FOOT, STEPS, TITLE, how_to_pdf
from grader.photo_advice.shapes import RGB

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("name", CHECKS)
def test_each_check_has_a_drawing_of_wrong_and_right(name: CheckName) -> None:
    tree = ET.fromstring(drawing_svg(name))
    assert tree.tag == f"{SVG}svg"
    assert tree.attrib["role"] == "img"
    assert HOW[name].wrong in tree.attrib["aria-label"]
    assert HOW[name].right in tree.attrib["aria-label"]
    assert tree[0].text == tree.attrib["aria-label"]
    assert {child.tag for child in tree[1:]} <= {f"{SVG}polygon", f"{SVG}polyline"}
    colours = {value for child in tree for value in child.attrib.values()}
    assert {"#{:02x}{:02x}{:02x}".format(*RGB[role]) for role in ("bad", "good")} <= colours


@pytest.mark.parametrize("name", CHECKS)
def test_drawings_stay_within_their_halves(name: CheckName) -> None:
    xs = [[x for x, _ in shape.points] for shape in drawing(name)]
    ys = [y for shape in drawing(name) for _, y in shape.points]
    assert min(map(min, xs)) >= 0
    assert max(map(max, xs)) <= WIDTH
    assert min(ys) >= 0
    assert max(ys) <= HEIGHT
    # nothing lies across the gap between the halves
    assert not [x for x in xs if min(x) < HALF_WIDTH and max(x) > HALF_WIDTH + GAP]


def page(paper: Paper) -> tuple[str, NDArray[np.uint8]]:
    document = pypdfium2.PdfDocument(how_to_pdf(paper))
    assert len(document) == 1
    width, height = PAPER_MM[paper]
    assert document[0].get_size() == pytest.approx((width / 25.4 * 72, height / 25.4 * 72), abs=0.5)
    text = " ".join(document[0].get_textpage().get_text_range().split())
    return text, np.asarray(document[0].render(scale=2.0).to_pil().convert("RGB"))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_one_page_says_all_and_prints_nothing_into_the_margin(paper: Paper) -> None:
    text, picture = page(paper)
    for words in (TITLE, FOOT, *STEPS, *(h.title for h in HOW.values()), *(h.advice for h in HOW.values())):
        assert words in text
    margin = round(10 / 25.4 * 72 * 2)
    inner = np.zeros(picture.shape[:2], bool)
    inner[margin:-margin, margin:-margin] = True
    assert (picture[~inner] == 255).all()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_page_shows_six_crosses_and_six_ticks_in_rows(paper: Paper) -> None:
    """Their colours, counted as separate patches of about the size of a mark."""
    _, picture = page(paper)
    for role in ("bad", "good"):
        near = np.abs(picture.astype(int) - np.array(RGB[role])).max(axis=2) < 12
        columns, rows = (np.flatnonzero(near.any(axis=axis)) for axis in (0, 1))
        gaps = [sum(b - a > 12 for a, b in pairwise(line)) + 1 for line in (columns, rows)]
        assert gaps == [2, 3]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_text_does_not_run_into_the_next_drawing(paper: Paper) -> None:
    """Between the rows of drawings, and above the foot, there is white paper."""
    _, picture = page(paper)
    blank = (picture == 255).all(axis=(1, 2))
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], blank.astype(int), [0]]))).reshape(-1, 2))
    assert (runs > 12).sum() >= 5


def test_the_same_page_is_the_same_file() -> None:
    assert how_to_pdf("a4") == how_to_pdf("a4")
