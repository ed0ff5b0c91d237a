"""Bench: grades, cuts and the batch on the page are those of the computation; cautions and refusals show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from html import escape, unescape
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from app.bench.report import bench_report
from app.bench.show import batch_of
from app.lots.lot_folder import LotFolder
from app.lots.shelf import Kept
from calibration.scale import Scale
from grader.batch.words import batch_lines
from grader.cautions import lines_for
from grader.coverage import Coverage
from grader.cut import CutRules, LongestPiece, PlannedBoard, Vessel, cut_boards, plan_boards
from grader.cut.words import BOTH_NOTE, FACE_NOTE, cut_lines
from grader.grade import candidates_of, grade_boards, load_thresholds
from grader.grade.words import CLASS_WORDS, cell_lines, order_lines
from grader.measured import Measured
from grader.model import Range
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement, measure
from grader.report import overlay_png
from grader.report.lot_html import lot_html
from grader.request import Request
from grader.scale_choice import ByLength
from grader.valuation import load_assumptions, with_given
from tests.segmenters import default_segmenter

PX_PER_MM = 5.0
TABLE, MASK, GOLD = (120, 120, 125), (30, 90, 50), (190, 150, 70)
GO = "Sort and plan"
REQUEST = Request(scale=ByLength(100.0, (10.0, 10.0), (510.0, 10.0)))
Box = tuple[float, float, float, float]
STRIP: Box = (20, 40, 200, 65)
MODULE: Box = (20, 40, 153, 71)


class ByColour:
    """Coverage read off the drawn colours, exactly."""

    name = "drawn"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        gold = (photo.rgb == GOLD).all(axis=2)
        board = gold | (photo.rgb == MASK).all(axis=2)
        return Coverage(gold.astype(np.uint8) * np.uint8(255), board, self.name, ())


def fingers(x0: float, y0: float, count: int = 11) -> list[Box]:
    return [(x0, y0 + 2.0 * i, x0 + 6, y0 + 2.0 * i + 1.2) for i in range(count)]


ENDS = [*fingers(20.6, 42), *fingers(193.4, 42)]
EDGE = [(22 + 1.4 * i, 66.4, 22.8 + 1.4 * i, 70.4) for i in range(92)]


def draw(boards: Sequence[Box], gold: Sequence[Box]) -> bytes:
    picture = np.full((750, 1300, 3), TABLE, np.uint8)
    for boxes, colour in ((boards, MASK), (gold, GOLD)):
        for box in boxes:
            x0, y0, x1, y1 = (round(v * PX_PER_MM) for v in box)
            picture[y0:y1, x0:x1] = colour
    return cv2.imencode(".png", picture[..., ::-1])[1].tobytes()


class Bench:
    """The page with drawn photos in its lot."""

    def __init__(self, page: Any, folder: Path) -> None:
        self.page = page
        self.lot = LotFolder(folder / "in-progress" / page.at.session_state["desk-lot"])
        self.done: dict[str, Measurement] = {}

    def lay(self, name: str, boards: Sequence[Box], gold: Sequence[Box]) -> None:
        """Put a measured photo into the lot in progress."""
        data = draw(boards, gold)
        done = measure(load_photo(data, name), REQUEST)
        self.lot.hand_in(name, data)
        self.lot.put(Kept(name, done.photo.sha256, REQUEST, Measured.of(done), overlay_png(done), is_sample=False))
        self.done[name] = done

    def go(self, **texts: str) -> None:
        """Open the page, fill in its fields by their keys, and send them off."""
        self.page.go("bench/page.py")
        self.page.at.text_input(key="spot").set_value("2650 USD/ozt")
        for key, text in texts.items():
            self.page.at.text_input(key=key.replace("_", "-")).set_value(text)
        self.page.press(GO)

    def all_cuts(self) -> None:
        """Show the cuts of all boards."""
        self.page.at.radio(key="desk-cut-which").set_value("all")
        self.page.run()

    def text(self) -> str:
        """All that can be read, without the page's escapes."""
        kinds = ("markdown", "info", "warning", "error")
        return "\n".join([*(t for kind in kinds for t in self.page.told(kind)), unescape(self.page.html())])


@pytest.fixture
def bench(page: Any, tmp_path: Path) -> Iterator[Bench]:
    with default_segmenter(ByColour):
        yield Bench(page, tmp_path / "data")


def test_without_photos_it_says_what_to_do(page: Any) -> None:
    page.go("bench/page.py")
    assert any("measure photos of whole boards first" in text for text in page.told("markdown"))
    assert not page.at.metric


def test_no_gold_price_is_assumed(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    bench.page.go("bench/page.py")
    bench.page.press(GO)
    assert any("none is assumed" in text for text in bench.page.told("info"))
    assert not bench.page.at.metric


EASY = {"least_per_gram": "0.001 USD/g", "least_per_minute": "0.001 USD/min", "sale_least": "90 USD/min"}
CASES = {
    "gold at both ends: the bare middle goes": ([STRIP], ENDS, "", 2, True),
    "gold along one edge: the edge comes off": ([MODULE], EDGE, "140 mm", 1, True),
    "plated all over: halved for a litre beaker": ([MODULE], [(20.6, 40.6, 152.4, 70.4)], "", 1, False),
}


@pytest.mark.parametrize("case", CASES)
def test_the_usual_boards_are_cut_as_planned(bench: Bench, case: str) -> None:
    boards, gold, longest, cuts, thrown = CASES[case]
    bench.lay("board.png", boards, gold)
    bench.go(longest=longest)
    bench.all_cuts()
    rules = CutRules(LongestPiece(140.0) if longest else Vessel(100, 100))
    (planned,) = plan_boards(cut_boards(bench.done["board.png"]), rules)
    assert isinstance(planned, PlannedBoard)
    assert len(planned.plan.cuts) == cuts
    text = bench.text()
    for line in cut_lines(planned):
        assert line in text
    assert ("throw " in text) is thrown
    for line in (FACE_NOTE, *lines_for("cut")):
        assert line in text


def test_grades_are_those_of_the_computation(bench: Bench) -> None:
    small: Box = (20, 90, 80, 115)
    bench.lay("shelf.png", [STRIP, small], [*ENDS, *fingers(20.6, 92, 5)])
    bench.go()
    rules = CutRules(Vessel(100, 100))
    found, _ = candidates_of("shelf.png", cut_boards(bench.done["shelf.png"]), rules)
    prices = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date.today())
    grades = grade_boards(found, prices, load_thresholds())
    text = bench.text()
    for graded in grades.boards:
        for line in cell_lines(graded, "USD"):
            assert line in text
    for line in order_lines(grades):
        assert line in text
    counts = bench.page.figures()
    for grade, word in CLASS_WORDS.items():
        assert counts[word.capitalize()] == str(sum(g.grade == grade for g in grades.boards))


def test_thresholds_typed_on_the_page_sort_the_boards(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    bench.go(**EASY)
    assert bench.page.figures()["Process"] == "1"
    text = bench.text()
    assert "vessel load" in text
    for line in lines_for("batch"):
        assert line in text
    bench.go(**{**EASY, "least_per_gram": "90 USD/g"})
    assert bench.page.figures()["Process"] == "0"
    assert "No board is worth processing" in bench.text()


def test_the_report_holds_cuts_and_batch(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    bench.go(**EASY)
    offered = {b.label for b in bench.page.at.get("download_button")}
    assert offered >= {"Report (PDF)", "Report (HTML)", "Figures (CSV)", "Figures (JSON)"}
    done = bench.page.at.session_state["desk-sorted"]
    batch = batch_of(done, "")
    made = bench_report("Pile", done, batch, bench.lot)
    assert made.photos[0].picture is not None
    assert made.cuts[0].picture is not None
    assert len(made.cuts[0].document["boards"][0]["cuts"]) == 2
    html = " ".join(unescape(lot_html(made)).split())
    for line in (*batch_lines(batch), *lines_for("cut"), *lines_for("batch")):
        assert " ".join(line.split()) in html
    (gold,) = (m.gold.total for m in bench.done.values() if m.gold is not None)
    assert made.gold_mg.value == pytest.approx(Range.of(gold.draws()).value, rel=0.02)


def test_the_report_of_the_price_has_the_plans_while_they_hold(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    assert not says_that_plans_are_in(bench)
    bench.go(**EASY)
    assert says_that_plans_are_in(bench)
    (strip,) = bench.page.at.session_state["desk-sorted"].seen
    bench.lot.put(replace(strip, measured=strip.measured.model_copy(update={"statement": "corrected since"})))
    assert not says_that_plans_are_in(bench)


def says_that_plans_are_in(bench: Bench) -> bool:
    bench.page.go("value/page.py")
    bench.page.type("Gold price today", "2650 USD/ozt")
    bench.page.press("What can I pay?")
    assert "Highest price worth paying" in bench.page.figures()
    return any("the cuts and the batch" in text for text in bench.page.told("markdown"))


def test_a_board_without_gold_says_so(bench: Bench) -> None:
    bench.lay("bare.png", [STRIP], [])
    bench.go()
    assert "No gold plating was found on this board" in bench.text()


def test_what_cannot_be_searched_is_told(bench: Bench) -> None:
    bench.lay("empty.png", [], [(40, 40, 60, 44)])
    bench.go()
    assert any("No board's outline" in text for text in bench.page.told("error"))


@pytest.mark.parametrize(
    ("field", "text", "word"),
    [
        ("vessel", "100", "lengths"),
        ("longest", "12 g", "a length is needed"),
        ("may_lose", "250 %", "250"),
        ("least_per_gram", "0.05 USD/min", "mass"),
        ("least_per_minute", "soon", "soon"),
        ("least_per_gram", "0.05 EUR/g", "currency"),
    ],
)
def test_a_wrong_entry_is_told_and_gives_no_grades(bench: Bench, field: str, text: str, word: str) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    bench.go(**{field: text})
    (told,) = bench.page.told("error")
    assert word in told
    assert "\n\n" in told, "no advice"
    assert not bench.page.at.metric


def test_the_back_counts_when_it_is_said_to_be_one(bench: Bench) -> None:
    bench.lay("front.png", [STRIP], ENDS)
    bench.lay("back.png", [STRIP], fingers(134, 42))
    sha = {name: done.photo.sha256 for name, done in bench.done.items()}
    bench.page.go("bench/page.py")
    bench.page.at.selectbox(key=f"shows-{sha['back.png'][:12]}").set_value(sha["front.png"])
    bench.page.run()
    bench.page.at.text_input(key="spot").set_value("2650 USD/ozt")
    bench.page.press(GO)
    assert any("more than one way" in text for text in bench.page.told("error"))
    bench.page.at.selectbox(key=f"turned-{sha['back.png'][:12]}").set_value("sideways")
    bench.page.press(GO)
    bench.all_cuts()
    text = bench.text()
    assert BOTH_NOTE in text
    assert "front.png, board 1" in text
    assert "back.png, board 1" not in text
    done = bench.page.at.session_state["desk-sorted"]
    made = bench_report("Pile", done, None, None)
    assert sorted(p.measured.photo for p in made.photos) == ["back.png", "front.png"]
    (plan,) = made.cuts
    assert plan.document["photo"] == "front.png"
    assert plan.document["back"] == "back.png"
    assert plan.picture is None
    assert made.batch is None
    golds = [m.gold.total for m in bench.done.values() if m.gold is not None]
    both = sum(float(np.median(g.draws())) for g in golds)
    assert made.gold_mg.value == pytest.approx(both, rel=0.05)
    (part,) = made.parts
    assert part["boards_seen"] == 1


def test_what_boards_weigh_is_what_they_are_sold_by(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], [])
    sha = bench.done["strip.png"].photo.sha256
    bench.go(**{f"weighed-{sha[:12]}": "900 g"})
    # 900 g at 3..8..25 USD/kg by the shipped examples
    (line,) = (t for t in bench.text().splitlines() if t.startswith("sold whole"))
    assert 0.9 * 3 < float(line.split()[2]) < 0.9 * 25


def test_pictures_and_files_are_offered(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    bench.go()
    bench.all_cuts()
    offered = {b.label for b in bench.page.at.get("download_button")}
    assert offered >= {"Sheet (PDF)", "Sheet (PNG)", "Grades (JSON)", "Template at true size (PDF)", "Cuts (JSON)"}
    assert len(bench.page.at.get("image")) == 2  # the board, and the photo with its cuts
    assert escape("strip.png") in bench.text()
