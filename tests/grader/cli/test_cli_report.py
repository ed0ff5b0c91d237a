"""``grader report`` as a person uses it: what measuring and cutting wrote goes in, a report comes out."""

from __future__ import annotations

import json
import shutil
from html import escape
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
import typer
from typer.testing import CliRunner

from calibration.errors import GraderError
from grader.cautions import lines_for
from grader.cli.app import app as grader_app
from grader.cli.report import report
from grader.cli.value import value
from grader.log import NewLot, PhotoRecord, open_log
from grader.photo import load_photo
from grader.pipeline import measure
from grader.report.photo_blocks import NO_PICTURE
from grader.request import Request
from grader.samples import load_demo
from tests.measured_photos import document_of

APP, VALUE = typer.Typer(pretty_exceptions_enable=False), typer.Typer(pretty_exceptions_enable=False)
APP.command()(report)
VALUE.command()(value)
PRICE = ("--spot", "2650 USD/ozt", "--spot-date", "today")


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory, remembering: Any) -> Path:
    """A folder with a sample photo, its measurement, and a cut plan."""
    folder = tmp_path_factory.mktemp("measured")
    sample = load_demo().samples[0]
    photo = folder / "boards.jpg"
    shutil.copy(sample.path, photo)
    document = document_of(measure(load_photo(photo), Request(segmenter=remembering())))
    (folder / "boards.json").write_text(json.dumps(document), "utf-8")
    bare = {"error": {"code": "no-gold-to-keep", "message": "No gold.", "advice": "Leave it out."}}
    boards = [bare] * len(document["boards"])
    plan = {"schema": 1, "photo": "boards.jpg", "boards": boards, "notes": ["Look at the other face."]}
    (folder / "plan.json").write_text(json.dumps(plan), "utf-8")
    return folder


@pytest.fixture
def work(measured: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """That folder, to work in."""
    shutil.copytree(measured, tmp_path / "work")
    monkeypatch.chdir(tmp_path / "work")
    return tmp_path / "work"


def run(*arguments: object, app: typer.Typer = APP) -> str:
    result = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(*arguments: object) -> GraderError:
    with pytest.raises(GraderError) as caught:
        CliRunner().invoke(APP, [str(a) for a in arguments], catch_exceptions=False)
    return caught.value


def test_all_forms_at_once(work: Path) -> None:
    said = run("boards.json", *PRICE, "--cuts", "plan.json", "--cut-picture", "boards.jpg", "--title", "crate",
               "--pdf", "r.pdf", "--html", "r.html", "--csv", "r.csv", "--json", "r.json")  # fmt: skip
    assert [line for line in said.splitlines() if line.startswith("Wrote")] == [
        "Wrote r.pdf", "Wrote r.html", "Wrote r.csv", "Wrote r.json",
    ]  # fmt: skip
    assert len(pypdfium2.PdfDocument("r.pdf")) > 1
    html = (work / "r.html").read_text("utf-8")
    assert html.count("data:image/jpeg;base64,") == 2
    assert "<h1>crate</h1>" in html
    assert "Look at the other face." in html
    assert "crate" in (work / "r.csv").read_text("utf-8")


def test_the_offer_is_that_of_valuing(work: Path) -> None:
    lot = ("boards.json", *PRICE, "--boards", "4", "--count", "40", "--asking", "40 USD")
    reported = json.loads(run(*lot, "--json", "-"))
    assert reported["offer"] == json.loads(run(*lot, "--json", "-", app=VALUE))
    assert reported["photos"][0] == json.loads((work / "boards.json").read_text("utf-8"))
    assert reported["lot"][0]["boards"] == 40


def test_without_a_price_there_is_no_offer_and_without_a_form_paper(work: Path) -> None:
    said = run("boards.json")
    assert "Without an offer" in said
    assert (work / "report.pdf").read_bytes().startswith(b"%PDF")


def test_a_photo_is_known_by_its_bytes_not_by_its_name(work: Path) -> None:
    (work / "shelf").mkdir()
    (work / "boards.jpg").rename(work / "shelf" / "other.jpg")
    shutil.copy(load_demo().samples[1].path, "boards.jpg")
    said = run("boards.json", "--html", "r.html")
    assert "Without their pictures: boards.jpg" in said
    assert NO_PICTURE in (work / "r.html").read_text("utf-8")
    assert "Without their pictures" not in run("boards.json", "--photos", "shelf", "--html", "r.html")
    assert NO_PICTURE not in (work / "r.html").read_text("utf-8")


def test_a_name_that_leads_elsewhere_is_not_followed(work: Path) -> None:
    (work / "deep").mkdir()
    document: dict[str, Any] = json.loads((work / "boards.json").read_text("utf-8"))
    (work / "deep" / "m.json").write_text(json.dumps({**document, "photo": "../boards.jpg"}), "utf-8")
    assert "Without their pictures: ../boards.jpg" in run("deep/m.json", "--html", "r.html")


def test_a_lot_of_the_log(work: Path) -> None:
    document = json.loads((work / "boards.json").read_text("utf-8"))
    record = PhotoRecord(sha256=document["sha256"], name="boards.jpg", width_px=40, height_px=30)
    with open_log(work / "log.sqlite") as opened:
        opened.add_lot(NewLot(name="crate"))
        opened.add_estimates("crate", [(record, document)])
    made = json.loads(run("--lot", "crate", "--log", "log.sqlite", "--photos", "boards.jpg", "--json", "-"))
    assert made["title"] == "crate"
    by_number = json.loads(run("--lot", "1", "--log", "log.sqlite", "--title", "crate", "--json", "-"))
    assert by_number == made


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ((), "measurements-none"),
        (("boards.json", "--lot", "crate"), "two-sources"),
        (("boards.json", "--pdf", "no/r.pdf"), "cannot-write"),
        (("boards.json", "--cuts", "boards.json"), "cut-plan-invalid"),
        (("boards.json", "--cuts", "plan.json", "--cut-picture", "boards.jpg", "--cut-picture", "boards.jpg"),
         "cut-pictures-count"),
        (("boards.json", "--photos", "*.heic"), "photos-none"),
        (("gone.json",), "measurement-unreadable"),
    ],
)  # fmt: skip
def test_wrong_use_says_what_to_do_and_writes_nothing(work: Path, arguments: tuple[str, ...], code: str) -> None:
    before = sorted(p.name for p in work.iterdir())
    assert refused(*arguments, *(() if "--pdf" in arguments else ("--html", "r.html"))).code == code
    assert sorted(p.name for p in work.iterdir()) == before


@pytest.fixture(scope="module")
def batch_plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("batch") / "batch.json"
    given = ("--mass", "470 g", "--plated-area", "42 cm2", "--gold", "60..120 mg")
    done = CliRunner().invoke(grader_app, ["batch", *given, "--json", str(path)])
    assert done.exit_code == 0, done.output
    return path


def test_what_the_batch_needs_and_its_cautions_are_in_every_form(work: Path, batch_plan: Path) -> None:
    run("boards.json", "--batch", batch_plan, "--html", "r.html", "--pdf", "r.pdf", "--json", "r.json")
    html = (work / "r.html").read_text("utf-8")
    pages = pypdfium2.PdfDocument("r.pdf")
    paper = " ".join(page.get_textpage().get_text_range() for page in pages)
    document = json.loads((work / "r.json").read_text("utf-8"))
    for words in ("What the batch needs", "Reagents for the whole batch", "Waste by kind", "hydrochloric acid"):
        assert words in html
        assert words in " ".join(paper.split())
    for caution in (*lines_for("cut"), *lines_for("batch")):
        assert html.count(escape(caution)) == 1
        assert [c["text"] for c in document["cautions"]].count(caution) == 1
    assert document["batch"]["amounts"].keys() == json.loads(batch_plan.read_text("utf-8"))["amounts"].keys()


def test_without_a_batch_nothing_is_said_of_one(work: Path) -> None:
    run("boards.json", "--html", "r.html")
    assert "What the batch needs" not in (work / "r.html").read_text("utf-8")


@pytest.mark.parametrize("text", ["{}", '{"schema": 1}', '{"schema": 1, "lines": [], "tables": 3}', "[]", "no JSON"])
def test_a_file_that_is_no_batch_plan_is_refused(work: Path, text: str) -> None:
    (work / "other.json").write_text(text, "utf-8")
    error = refused("boards.json", "--batch", "other.json", "--html", "r.html")
    assert error.advice
    assert not (work / "r.html").exists()
