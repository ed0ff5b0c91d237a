"""``grader grade`` as a person and as a script use it: figures, sheets, exit codes, refusals."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pypdfium2
import pytest
from PIL import Image
from typer.testing import CliRunner, Result

from calibration.errors import GraderError
from grader.cautions import lines_for
from grader.cli.app import app
from grader.grade import example_thresholds_text
from grader.grade.words import CLASS_RGB, WHOLE_NOTE
from grader.learn.invented import write_invented

Draw = Callable[..., Path]
Box = tuple[float, float, float, float]
SCALE = ("--length", "100 mm", "--from", "10,10", "--to", "510,10")
PRICE = ("--spot", "2650 USD/ozt", "--spot-date", "2026-11-20")
STRIP: Box = (20, 40, 200, 65)
SMALL: Box = (20, 90, 80, 115)


def fingers(x0: float, y0: float, count: int = 11) -> list[Box]:
    return [(x0, y0 + 2.0 * i, x0 + 6, y0 + 2.0 * i + 1.2) for i in range(count)]


ENDS = [*fingers(20.6, 42), *fingers(193.4, 42)]


@pytest.fixture
def shelf(draw: Draw) -> Path:
    """A strip with gold at both ends, a small board with one row, a bare one."""
    return draw("shelf.png", [STRIP, SMALL, (120, 90, 200, 115)], [*ENDS, *fingers(20.6, 92, 5)])


def run(*arguments: object, scale: tuple[str, ...] = SCALE) -> Result:
    return CliRunner().invoke(app, ["grade", *map(str, arguments), *scale])


def grades_of(tmp_path: Path, *arguments: object) -> dict[str, Any]:
    path = tmp_path / "grades.json"
    done = run(*arguments, *PRICE, "--json", path)
    assert done.exit_code == 0, done.output
    document: dict[str, Any] = json.loads(path.read_text())
    return document


def cut_plan(tmp_path: Path, photo: Path) -> dict[str, Any]:
    path = tmp_path / "plan.json"
    done = CliRunner().invoke(app, ["cut", str(photo), *SCALE, "--json", str(path)])
    assert done.exit_code == 0
    document: dict[str, Any] = json.loads(path.read_text())
    return document


def test_what_is_processed_is_what_the_cut_plan_keeps(tmp_path: Path, shelf: Path) -> None:
    document = grades_of(tmp_path, shelf)
    plans = cut_plan(tmp_path, shelf)["boards"]
    by_name = {b["name"]: b for b in document["boards"]}
    assert len(by_name) == 3
    for number, plan in enumerate(plans, 1):
        graded = by_name[f"shelf.png, board {number}"]
        if "error" in plan:
            assert graded["figures"] is None
            assert graded["why_not"]["code"] == plan["error"]["code"]
            continue
        kept = [p for p in plan["pieces"] if p["kept"]]
        assert graded["cuts"] == len(plan["cuts"])
        figures = graded["figures"]
        assert figures["mass_g"]["value"] == pytest.approx(sum(p["mass_g"]["value"] for p in kept), rel=0.01)
        assert figures["gold_mg"]["value"] == pytest.approx(sum(p["gold_mg"]["value"] for p in kept), rel=0.02)
    assert document["boards"][-1]["why_not"]["code"] == "no-gold-to-keep"


def test_terminal_data_and_sheets_say_the_same(tmp_path: Path, shelf: Path) -> None:
    paper, picture = tmp_path / "grades.pdf", tmp_path / "grades.png"
    done = run(shelf, *PRICE, "--sheet", paper, "--sheet", picture, "--json", tmp_path / "g.json")
    assert done.exit_code == 0, done.output
    document = json.loads((tmp_path / "g.json").read_text())
    pdf = pypdfium2.PdfDocument(paper.read_bytes())
    try:
        words = " ".join(" ".join(page.get_textpage().get_text_range() for page in pdf).split())
    finally:
        pdf.close()
    for board in document["boards"]:
        assert board["name"] in done.stdout
        assert board["name"] in words
    for statement in document["statements"]:
        assert statement in done.stdout
        assert statement in words
    for line in (*document["notes"], *lines_for("cut")):
        assert line in done.stdout
        assert line in words
    drawn = np.asarray(Image.open(picture).convert("RGB"))
    for grade in {b["grade"] for b in document["boards"]}:
        assert (drawn == CLASS_RGB[grade]).all(axis=2).sum() > 5000
    # the boards themselves are in it: green mask and gold
    assert (np.abs(drawn.astype(int) - (30, 90, 50)).max(axis=2) < 12).sum() > 5000
    assert (np.abs(drawn.astype(int) - (190, 150, 70)).max(axis=2) < 12).sum() > 300


def test_measurements_alone_count_whole_boards(tmp_path: Path, shelf: Path) -> None:
    measured = tmp_path / "shelf.json"
    done = CliRunner().invoke(app, ["measure", str(shelf), *SCALE, "--json", str(measured), "--published"])
    assert done.exit_code == 0, done.output
    path = tmp_path / "grades.json"
    done = run(measured, *PRICE, "--json", path, scale=())
    assert done.exit_code == 0, done.output
    assert WHOLE_NOTE in done.stdout
    whole = json.loads(path.read_text())["boards"]
    cut = grades_of(tmp_path, shelf)["boards"]
    size = {b["name"]: b["figures"]["mass_g"]["value"] for b in whole if b["figures"]}
    gold = {b["name"]: b["figures"]["gold_mg"]["value"] for b in whole if b["figures"]}
    for board in cut:
        if board["figures"] is not None:
            # names count the outlines from the largest on, in both
            assert board["figures"]["mass_g"]["value"] <= size[board["name"]] * 1.02
            assert board["figures"]["gold_mg"]["value"] == pytest.approx(gold[board["name"]], rel=0.02)
    assert {b["cuts"] for b in whole} == {None}


def test_boards_of_one_named_part_share_their_thickness(tmp_path: Path, draw: Draw) -> None:
    one = draw("one.png", [STRIP], ENDS)
    two = draw("two.png", [STRIP], [*ENDS, *fingers(28, 42, 9)])
    apart, same = grades_of(tmp_path, one, two), grades_of(tmp_path, one, two, "--part", "strips")
    assert len(apart["parts"]) == 2
    assert len(same["parts"]) == 1
    assert same["boards"][0]["chance_before_next"] is not None
    assert abs(same["boards"][0]["chance_before_next"] - 0.5) > abs(apart["boards"][0]["chance_before_next"] - 0.5)
    named = grades_of(tmp_path, one, two, "--part", "strips", "--part", "others")
    assert {p["name"] for p in named["parts"]} == {"strips", "others"}


def test_what_yields_taught_is_used_and_recovery_is_not_taken_off_again(tmp_path: Path, shelf: Path) -> None:
    log = tmp_path / "trial.sqlite"
    write_invented(log, 12)
    done = run(shelf, *PRICE, "--log", log, "--json", tmp_path / "learned.json")
    assert done.exit_code == 0, done.output
    assert "Gold is what your process recovers" in done.stdout
    learned = json.loads((tmp_path / "learned.json").read_text())["boards"][0]["figures"]
    published = grades_of(tmp_path, shelf, "--log", log, "--published")["boards"][0]["figures"]
    assert published == grades_of(tmp_path, shelf)["boards"][0]["figures"]
    # what the gold brings for each mg of it: the gold price × the buyer's share, with recovery once and only once
    per_mg = {name: f["value"]["value"] / f["gold_mg"]["value"] for name, f in (("l", learned), ("p", published))}
    assert per_mg["p"] / per_mg["l"] == pytest.approx(0.93, abs=0.03)


def test_thresholds_of_one_s_own(tmp_path: Path, shelf: Path) -> None:
    mine = tmp_path / "mine.toml"
    # own time costs nothing, and no sale is worth it
    easy = (
        example_thresholds_text()
        .replace('"0.10 USD/min"', '"0 USD/min"', 1)
        .replace('"0.10 USD/min"', '"99 USD/min"')
    )
    processed = []
    for least in ("0.001 USD/g", "9 USD/g"):
        mine.write_text(easy.replace('"0.05 USD/g"', f'"{least}"'), "utf-8")
        boards = grades_of(tmp_path, shelf, "--thresholds", mine)["boards"]
        processed.append([b["name"] for b in boards if b["grade"] == "process"])
    assert "shelf.png, board 1" in processed[0]
    assert processed[1] == []
    printed = CliRunner().invoke(app, ["grade", "--example"])
    assert printed.exit_code == 0
    assert printed.stdout == example_thresholds_text()


def test_weighed_boards_bring_what_they_weigh(tmp_path: Path, shelf: Path) -> None:
    bare = grades_of(tmp_path, shelf)["boards"]
    heavy = grades_of(tmp_path, shelf, "--weighed", "900 g")["boards"]
    total = sum(b["sale"]["value"] for b in heavy)
    assert total > 10 * sum(b["sale"]["value"] for b in bare)
    # 3..8..25 USD/kg by the shipped examples
    assert 0.9 * 3 < total < 0.9 * 25


def test_a_bad_photo_does_not_stop_the_others(tmp_path: Path, shelf: Path) -> None:
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"no photo")
    done = run(bad, shelf, *PRICE)
    assert done.exit_code == 2
    assert "bad.jpg" in done.stderr
    assert "shelf.png, board 1" in done.stdout


def test_nothing_to_grade_is_refused(draw: Draw) -> None:
    done = run(draw("empty.png", [], []), *PRICE)
    assert done.exit_code == 3
    assert "No board's outline" in done.stderr
    assert "→" in done.stderr


def test_many_boards_go_over_several_pages(tmp_path: Path, draw: Draw) -> None:
    places = [(10 + 34 * i, 20 + 28 * j) for i in range(7) for j in range(4)]
    photo = draw(
        "many.png",
        [(x, y, x + 26, y + 20) for x, y in places],
        [f for x, y in places for f in fingers(x + 1, y + 2, 4)],
    )
    paper = tmp_path / "many.pdf"
    done = run(photo, *PRICE, "--sheet", paper)
    assert done.exit_code == 0, done.output
    pdf = pypdfium2.PdfDocument(paper.read_bytes())
    try:
        texts = [page.get_textpage().get_text_range() for page in pdf]
    finally:
        pdf.close()
    assert len(texts) >= 3
    assert all(any(f"board {n}" in text for text in texts) for n in range(1, 29))


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ((), "spot-missing"),
        (("--spot", "85 EUR/g", "--spot-date", "2026-11-20"), "example-costs-currency"),
        ((*PRICE, "--sheet", "grades.txt"), "sheet-kind"),
        ((*PRICE, "--sheet", "nowhere/grades.pdf"), "cannot-write"),
        ((*PRICE, "--thresholds", "none.toml"), "thresholds-unreadable"),
        ((*PRICE, "--part", "a", "--part", "b"), "parts-count"),
        ((*PRICE, "--weighed", "72 g", "--weighed", "80 g"), "weighed-count"),
        ((*PRICE, "--weighed", "72"), "unit-missing"),
        (("--spot", "85 USD/g", "--spot-date", "soon"), "date-unreadable"),
    ],
)
def test_wrong_use_is_told_before_any_work(shelf: Path, options: tuple[str, ...], code: str) -> None:
    done = run(shelf, *options)
    assert isinstance(done.exception, GraderError), done.output
    assert done.exception.code == code
    assert done.exception.exit_code == 2
    assert not done.stdout


@pytest.mark.parametrize("name", ["shelf.png", "other.png"])
def test_one_photo_does_not_count_twice(tmp_path: Path, shelf: Path, name: str) -> None:
    folder = tmp_path / "again"
    folder.mkdir()
    copy = folder / name
    copy.write_bytes(shelf.read_bytes())
    done = run(shelf, copy, *PRICE)
    assert isinstance(done.exception, GraderError)
    assert done.exception.code == "photo-twice"


def test_two_photos_of_one_name_are_told(tmp_path: Path, draw: Draw, shelf: Path) -> None:
    folder = tmp_path / "again"
    folder.mkdir()
    other = draw("again/shelf.png", [SMALL], fingers(20.6, 92, 5))
    done = run(shelf, other, *PRICE)
    assert isinstance(done.exception, GraderError)
    assert done.exception.code == "photo-name-twice"


def test_a_photo_is_never_overwritten(shelf: Path) -> None:
    before = shelf.read_bytes()
    done = run(shelf, *PRICE, "--sheet", shelf)
    assert isinstance(done.exception, GraderError)
    assert done.exception.code == "output-is-photo"
    assert shelf.read_bytes() == before
    assert cv2.imread(str(shelf)) is not None
