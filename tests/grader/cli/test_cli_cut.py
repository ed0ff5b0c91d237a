"""``grader cut`` as a person and as a script use it: output, files, exit codes, refusals."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner, Result

from calibration.errors import GraderError
from calibration.scale import Scale
from grader.cautions import lines_for
from grader.cli.app import app
from grader.coverage import Coverage
from grader.coverage.choose import forget_segmenter, register_segmenter
from grader.cut.words import BOTH_NOTE, EYE_NOTE, FACE_NOTE, PARTS_NOTE
from grader.photo import Photo

Draw = Callable[..., Path]
MASK, GOLD = (30, 90, 50), (190, 150, 70)  # as the boards are drawn
SCALE = ("--length", "100 mm", "--from", "10,10", "--to", "510,10")
Box = tuple[float, float, float, float]


def fingers(x0: float, y0: float, count: int = 11) -> list[Box]:
    return [(x0, y0 + 2.0 * i, x0 + 6, y0 + 2.0 * i + 1.2) for i in range(count)]


def edge(x0: float, y0: float, count: int, pitch: float = 1.4) -> list[Box]:
    return [(x0 + pitch * i, y0, x0 + pitch * i + 0.8, y0 + 4) for i in range(count)]


STRIP: Box = (20, 40, 200, 65)
ENDS = [*fingers(20.6, 42), *fingers(193.4, 42)]
MODULE: Box = (20, 40, 153, 71)
ALL_OVER: Box = (20, 40, 153, 71)
PLANE: Box = (20.6, 40.6, 152.4, 70.4)


@pytest.fixture
def strip(draw: Draw) -> Path:
    return draw("strip.png", [STRIP], ENDS)


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["cut", *map(str, arguments), *SCALE])


def plan_of(tmp_path: Path, *arguments: object) -> dict[str, Any]:
    out = tmp_path / "plan.json"
    done = run(*arguments, "--json", out)
    assert done.exit_code == 0, done.output
    document: dict[str, Any] = json.loads(out.read_text())
    return document


def red_lines(data: bytes) -> int:
    """Cuts drawn on the first page of a template."""
    document = pypdfium2.PdfDocument(data)
    try:
        picture = document[0].render(scale=150 / 72).to_numpy()[..., :3].astype(int)
    finally:
        document.close()
    red = (picture[..., 2] > 150) & (picture[..., 1] < 120)  # the raster's channels are blue, green, red
    whole = cv2.morphologyEx(red.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((29, 29), np.uint8))  # over the numbers
    count, _, stats, _ = cv2.connectedComponentsWithStats(whole)
    return int((stats[1:count, cv2.CC_STAT_AREA] > 20).sum())


def text_of(data: bytes) -> str:
    document = pypdfium2.PdfDocument(data)
    try:
        return " ".join(document[i].get_textpage().get_text_range() for i in range(len(document)))
    finally:
        document.close()


CASES = {
    # what is drawn; cuts; sizes of the pieces kept, mm; whether something is thrown
    "gold at both ends: the bare middle goes": ([STRIP], ENDS, (), 2, [(25, 8), (25, 8)], True),
    "gold along one edge: the edge comes off": (
        [MODULE],
        edge(22, 66.4, 92),
        ("--longest", "140 mm"),
        1,
        [(133, 6)],
        True,
    ),
    "plated all over: halved for a litre beaker": ([ALL_OVER], [PLANE], (), 1, [(66.5, 31), (66.5, 31)], False),
}


@pytest.mark.parametrize("case", CASES, ids=lambda c: str(c))
def test_the_usual_boards_on_terminal_in_data_and_on_paper(draw: Draw, tmp_path: Path, case: str) -> None:
    boards, gold, options, cuts, kept, thrown = CASES[case]
    photo = draw("board.png", boards, gold)
    paper, picture = tmp_path / "cuts.pdf", tmp_path / "cuts.png"
    done = run(photo, *options, "--template", paper, "--overlay", picture)
    assert done.exit_code == 0, done.output
    (board,) = plan_of(tmp_path, photo, *options)["boards"]
    sizes = [
        sorted((p["box_mm"][1] - p["box_mm"][0], p["box_mm"][3] - p["box_mm"][2]), reverse=True)
        for p in board["pieces"]
        if p["kept"]
    ]
    assert len(board["cuts"]) == cuts
    assert len(sizes) == len(kept)
    for size, expected in zip(sizes, kept, strict=True):
        assert size == pytest.approx(sorted(expected, reverse=True), abs=1.1)
    assert any(not p["kept"] for p in board["pieces"]) is thrown
    assert board["share_lost"] <= 0.005
    # the terminal says the same
    for i, cut in enumerate(board["cuts"], 1):
        assert f"Cut {i}: {cut['at_mm']:.1f} mm ({cut['at_in']:.2f} in) from the {cut['edge']} edge" in done.stdout
    assert done.stdout.count("keep ") == len(kept)
    assert ("throw " in done.stdout) is thrown
    # and so does the paper
    data = paper.read_bytes()
    assert red_lines(data) == cuts
    words = " ".join(text_of(data).split())
    for cut in board["cuts"]:
        assert f"{cut['at_mm']:.1f} mm ({cut['at_in']:.2f} in) from the {cut['edge']} edge" in words
    assert cv2.imread(str(picture)) is not None


def test_cautions_and_limits_are_said_wherever_a_plan_shows(tmp_path: Path, strip: Path) -> None:
    paper = tmp_path / "cuts.pdf"
    done = run(strip, "--template", paper)
    words = " ".join(text_of(paper.read_bytes()).split())
    document = plan_of(tmp_path, strip)
    for line in (PARTS_NOTE, FACE_NOTE, *lines_for("cut")):
        assert line in done.stdout
        assert line in words
    assert document["notes"] == [PARTS_NOTE, FACE_NOTE]
    assert [c["text"] for c in document["cautions"]] == lines_for("cut")


def test_json_can_be_printed_alone(strip: Path) -> None:
    done = run(strip, "--json", "-")
    assert done.exit_code == 0
    (line,) = done.stdout.splitlines()
    assert json.loads(line)["photo"] == "strip.png"


def test_both_faces_count(draw: Draw, tmp_path: Path, strip: Path) -> None:
    # turned sideways in its place: what is 60 mm from the left edge of the front is 60 mm from the right of the back
    back = draw("back.png", [STRIP], fingers(200 - 66, 42))
    document = plan_of(tmp_path, strip, "--back", back, "--turned", "sideways")
    assert document["back"] == "back.png"
    assert document["notes"] == [PARTS_NOTE, BOTH_NOTE]
    (board,) = document["boards"]
    assert board["faces"] == 2
    kept = [p["box_mm"] for p in board["pieces"] if p["kept"]]
    assert any(u0 <= 60 and u1 >= 66 for u0, u1, *_ in kept)
    assert not any(u0 <= 120 <= u1 for u0, u1, *_ in kept)
    untold = run(strip, "--back", back)
    assert untold.exit_code == 3
    assert "--turned" in untold.stderr
    other = draw("other.png", [(20, 40, 120, 65)], [])
    unlike = run(strip, "--back", other)
    assert unlike.exit_code == 3
    assert "No back fits" in unlike.stderr


def test_several_photos_in_one_call(draw: Draw, tmp_path: Path, strip: Path) -> None:
    module = draw("module.png", [MODULE], edge(22, 66.4, 92))
    bare = draw("bare.png", [STRIP], [])
    out, pictures, paper = tmp_path / "plans.jsonl", tmp_path / "pictures", tmp_path / "cuts.pdf"
    pictures.mkdir()
    done = run(strip, bare, module, "--json", out, "--overlay", pictures, "--template", paper, "--longest", "140 mm")
    assert done.exit_code == 0
    documents = [json.loads(line) for line in out.read_text().splitlines()]
    assert [d["photo"] for d in documents] == ["strip.png", "bare.png", "module.png"]
    assert documents[1]["boards"][0]["error"]["code"] == "no-gold-to-keep"
    assert sorted(p.name for p in pictures.iterdir()) == ["bare-cuts.png", "module-cuts.png", "strip-cuts.png"]
    assert "strip.png, board 1" in done.stdout
    assert "bare.png, board 1: No gold" in done.stderr
    words = " ".join(text_of(paper.read_bytes()).split())
    assert "strip.png, board 1 top bottom left right" in words
    assert "module.png, board 1 top bottom left right" in words


def test_a_bad_file_among_several_does_not_stop_the_others(tmp_path: Path, strip: Path) -> None:
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"no photo")
    done = run(bad, strip, "--json", tmp_path / "plans.jsonl")
    assert done.exit_code == 2
    first, second = [json.loads(line) for line in (tmp_path / "plans.jsonl").read_text().splitlines()]
    assert first["error"]["advice"]
    assert second["boards"][0]["cuts"]


@pytest.mark.parametrize(
    ("boards", "gold", "options", "words"),
    [
        ([STRIP], [], (), "No gold plating"),
        ([], [], (), "No board's outline"),
        ([(0, 40, 200, 65)], fingers(100, 42), (), "extends beyond the photo"),
        ([STRIP], ENDS, ("--vessel", "4 x 4 mm"), "even that alone would not fit"),
        ([STRIP], ENDS, ("--longest", "4 mm"), "even that alone would not fit"),
        ([STRIP], ENDS, ("--longest", "15 mm", "--clearance", "3 mm"), "No cuts that stay clear"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_advice(
    draw: Draw, tmp_path: Path, boards: list[Box], gold: list[Box], options: tuple[str, ...], words: str
) -> None:
    photo = draw("board.png", boards, gold)
    paper = tmp_path / "cuts.pdf"
    done = run(photo, *options, "--template", paper, "--json", tmp_path / "plan.json")
    assert done.exit_code == 3
    assert words in done.stderr
    assert "→" in done.stderr
    assert not paper.exists()
    document = json.loads((tmp_path / "plan.json").read_text())
    error = document.get("error") or document["boards"][0]["error"]
    assert words in error["message"]
    assert len(error["advice"]) > 20


@pytest.mark.parametrize(
    ("options", "code"),
    [
        (("--vessel", "100 g x 100 g"), "unit-wrong-kind"),
        (("--vessel", "100"), "pair-unreadable"),
        (("--longest", "0 mm"), "value-zero"),
        (("--kerf", "2"), "unit-missing"),
        (("--clearance", "-1 mm"), "value-negative"),
        (("--may-lose", "100 %"), "most-lost-invalid"),
        (("--may-lose", "5 mm"), "quantity-unreadable"),
        (("--turned", "sideways"), "turned-without-back"),
        (("--back", "a.png", "--back", "b.png"), "backs-count"),
        (("--template", "nowhere/cuts.pdf"), "cannot-write"),
    ],
)
def test_wrong_use_is_told_before_any_work(strip: Path, options: tuple[str, ...], code: str) -> None:
    done = run(strip, *options)
    assert isinstance(done.exception, GraderError), done.output
    assert done.exception.code == code
    assert done.exception.exit_code == 2
    assert len(done.exception.advice) > 10
    assert not done.stdout


def test_one_face_is_not_given_for_both(strip: Path) -> None:
    done = run(strip, "--back", strip)
    assert isinstance(done.exception, GraderError)
    assert done.exception.code == "faces-same-photo"


def test_an_overlay_never_overwrites_a_photo(strip: Path) -> None:
    before = strip.read_bytes()
    done = run(strip, "--overlay", strip)
    assert isinstance(done.exception, GraderError)
    assert done.exception.code == "output-is-photo"
    assert strip.read_bytes() == before


def test_a_board_larger_than_the_paper_has_its_list(draw: Draw, tmp_path: Path) -> None:
    photo = draw("long.png", [(10, 40, 330, 65)], [*fingers(10.6, 42), *fingers(323.4, 42)], (120, 350))
    paper = tmp_path / "cuts.pdf"
    done = run(photo, "--template", paper)
    assert done.exit_code == 3
    assert "larger than the paper" in done.stderr
    assert "Cut 1:" in done.stdout
    assert not paper.exists()


def test_cuts_through_contacts_are_made_only_when_asked_for(draw: Draw, tmp_path: Path) -> None:
    photo = draw("module.png", [MODULE], [(20.6, 66.4, 152.4, 70.4)])
    narrow = ("--longest", "60 mm", "--clearance", "0.2 mm")
    document = plan_of(tmp_path, photo, *narrow, "--through-contacts")
    assert document["boards"][0]["through"] == "contacts"
    gap = draw("row.png", [MODULE], edge(22, 66.4, 64, pitch=2.0))
    done = run(gap, *narrow)
    assert done.exit_code == 0
    (board,) = plan_of(tmp_path, gap, *narrow)["boards"]
    assert board["through"] == "nothing"
    assert EYE_NOTE in done.stdout
    # each cut across the row lies in a gap between contacts: 1.2 mm after 0.8 mm of contact, from 2 mm on
    across = [
        c["at_mm"] if c["edge"] == "left" else 133 - c["at_mm"]
        for c in board["cuts"]
        if c["edge"] in ("left", "right")
    ]
    assert across
    for at in across:
        assert 0.8 + 0.1 < (at - 2) % 2.0 < 2.0 - 0.1


class FindsNone:
    """Sees boards, and no plating on them."""

    name = "finds-none"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        board = (photo.rgb == MASK).all(axis=2) | (photo.rgb == GOLD).all(axis=2)
        return Coverage(np.zeros(board.shape, np.uint8), board, self.name, ())


def test_every_command_that_measures_takes_a_segmenter_by_name(strip: Path, tmp_path: Path) -> None:
    """The usual one finds the gold of the strip's ends, the other none."""
    register_segmenter("none", FindsNone)
    try:
        spot = ("--spot", "85 USD/g", "--spot-date", "2026-11-20", "--yes")
        for command in (["measure"], ["cut"], ["grade", *spot]):
            gold = {}
            for chosen in ((), ("--segmenter", "none")):
                out = tmp_path / "out.json"
                out.unlink(missing_ok=True)
                done = CliRunner().invoke(app, [*command, str(strip), *SCALE, *chosen, "--json", str(out)])
                gold[chosen] = out.read_text() if out.is_file() else done.output
            assert gold[()] != gold["--segmenter", "none"], command
        measured = CliRunner().invoke(app, ["measure", str(strip), *SCALE, "--segmenter", "none", "--json", "-"])
        assert json.loads(measured.stdout)["segmenter"] == "finds-none"
    finally:
        forget_segmenter("none")
    unknown = CliRunner().invoke(app, ["cut", str(strip), *SCALE, "--segmenter", "none"])
    assert isinstance(unknown.exception, GraderError)
    assert unknown.exception.code == "segmenter-unknown"
