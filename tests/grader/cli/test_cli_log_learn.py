"""``grader log`` learns, compares and keeps the record right, as a buyer uses it."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from calibration.errors import DataFileError, LogError, UsageError
from grader.cli.app import app
from grader.learn.invented import invented, write_invented
from grader.log import NewLot, checked, open_log, photo_of
from grader.samples import load_demo

RUNNER = CliRunner()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("filled") / "log.sqlite"
    write_invented(path, 12)
    return path.read_bytes()


@pytest.fixture
def path(tmp_path: Path, filled: bytes) -> Path:
    path = tmp_path / "log.sqlite"
    path.write_bytes(filled)
    return path


@pytest.fixture
def run(path: Path):
    def run(*arguments: object) -> str:
        result = RUNNER.invoke(app, ["log", *map(str, arguments), "--log", str(path)])
        if result.exception is not None:
            raise result.exception
        return " ".join(result.output.split())

    return run


def test_the_belief_says_what_it_rests_on(run):
    said = run("belief")
    assert "rests on 12 yields" in said
    assert "cannot tell the two apart" in said
    data = json.loads(run("belief", "--json"))
    assert data["rests_on"] == list(range(1, 13))
    assert data["effective_thickness_um"]["hard_gold"]["width_of_range_by_factor"] < 1


def test_compare_shows_every_yield_and_group(run):
    said = run("compare")
    for word in ("Lot 12", "By finish", "By part", "By seller", "By year", "Paid for a gram", "may truly be"):
        assert word in said


def test_compare_as_json_holds_every_yield_and_what_lots_returned(run):
    told = json.loads(run("compare", "--json"))
    assert told["schema"] == 1
    assert len(told["yields"]) == 12
    first = told["yields"][0]
    assert first["fine_mg"] > 0
    assert date.fromisoformat(first["day"])
    assert set(first["estimate_mg"]) == {"value", "low", "high", "level"}
    assert told["returns"]


def test_a_wrong_unit_is_told_at_once(run):
    with pytest.raises(UsageError, match="Did you mean 400 mg"):
        run("yield", "Lot 01", "--mass", "400 ug", "--uncertainty", "1 mg")
    said = run("yield", "Lot 01", "--mass", "400 ug", "--uncertainty", "1 mg", "--yes")
    assert "What may have happened" in said


def test_exclude_correct_process_and_reset(run, path: Path):
    run("exclude", 2, "--reason", "spilled", "--who", "Ann")
    said = run("correct", 3, "--mass", "0.6 g", "--reason", "misread", "--date", "2025-03-01")
    assert "Yield 13 takes the place of yield 3" in said
    run("process", "finer filters", "--date", "2025-05-01")
    said = run("belief")
    assert "excluded: spilled" in said
    assert "recovery restarted" in said
    assert "corrected by 13: misread" in run("show", "Lot 03")
    run("reset", "moved house", "--date", "2030-01-01")
    assert "Nothing to learn from" in run("belief")
    with open_log(path) as log:
        contents = log.contents()
    assert len(contents.yields) == 13
    assert contents.exclusions[0].who == "Ann"
    with pytest.raises(UsageError, match="no yield 99"):
        run("exclude", 99, "--reason", "x")
    with pytest.raises(UsageError, match="not a date"):
        run("process", "x", "--date", "soon")


def test_an_import_is_shown_first_and_written_whole(run, path: Path, tmp_path: Path):
    file = tmp_path / "yields.csv"
    file.write_text("lot,mass,weighed_on\nLot 01,0.4 g,2026-03-01\nLot 02,0.5 g,2026-03-02\n")
    assert "Nothing was written" in run("import", file)
    with open_log(path) as log:
        assert len(log.contents().yields) == 12
    assert "2 yields logged" in run("import", file, "--write")
    with pytest.raises(UsageError, match="2 of 2 rows"):
        run("import", file, "--write")
    file.write_text("lot,mass\n")
    with pytest.raises(DataFileError, match="weighed_on"):
        run("import", file, "--write")
    with pytest.raises(UsageError, match="cannot be read"):
        run("import", tmp_path / "none.csv")
    with open_log(path) as log:
        assert len(log.contents().yields) == 14


def test_rows_that_look_wrong_want_a_yes_and_a_huge_file_is_not_read(run, path: Path, tmp_path: Path):
    file = tmp_path / "yields.csv"
    file.write_text("lot,mass,weighed_on\nLot 01,0.4 g,2026-03-01\nLot 02,500 g,2026-03-02\n")
    assert "right, but look" in run("import", file)
    with pytest.raises(UsageError, match="Line 3"):
        run("import", file, "--write")
    with open_log(path) as log:
        assert len(log.contents().yields) == 12
    assert "2 yields logged" in run("import", file, "--write", "--yes")
    with file.open("wb") as huge:
        huge.truncate(4 << 30)
    with pytest.raises(DataFileError, match="too large"):
        run("import", file)


@pytest.mark.usefixtures("search_once")
def test_thirty_yields_from_a_file_narrow_the_next_estimate(tmp_path: Path):
    path, file = tmp_path / "thirty.sqlite", tmp_path / "yields.csv"
    lots = invented(30)
    with open_log(path) as log:
        for lot in lots:
            number, document = log.add_lot(lot.lot).id, lot.measured().to_dict()
            log.add_estimate(number, photo_of(document), document)
    rows = [
        f"{lot.lot.name},{lot.gold.mass_mg} mg,{lot.gold.weighed_on},1 mg,{lot.gold.fineness},found" for lot in lots
    ]
    file.write_text("\n".join(["lot,mass,weighed_on,uncertainty,fineness,fineness_known", *rows]))
    result = RUNNER.invoke(app, ["log", "import", str(file), "--write", "--log", str(path)])
    assert "30 yields logged" in result.output
    photo = str(load_demo().samples[0].path)
    wide, narrow = tmp_path / "wide.json", tmp_path / "narrow.json"
    measure = ["measure", photo, "--log", str(path), "--part", "memory strips"]
    said = RUNNER.invoke(app, [*measure, "--json", str(narrow)]).output
    assert "rests on 30 yields" in said
    assert "rests on" not in RUNNER.invoke(app, [*measure, "--published", "--json", str(wide)]).output
    assert "No yield of spoons" in RUNNER.invoke(app, [*measure[:-1], "spoons"]).output
    before, now = (json.loads(p.read_text())["gold_mg"] for p in (wide, narrow))
    assert now["high"] / now["low"] < 0.6 * before["high"] / before["low"]


def test_copies_attachments_and_several_lots(run, path: Path, tmp_path: Path):
    run("backup", tmp_path / "copy.sqlite")
    report = tmp_path / "assay.pdf"
    report.write_bytes(b"report")
    run("attach", 1, report)
    run("yield", "Lot 01", "--mass", "0.9 g", "--also", "Lot 02", "--also", "Lot 03=2.5", "--lost", "5 mg")
    with open_log(path) as log:
        contents = log.contents()
    assert contents.attachments[0].sha256 == hashlib.sha256(b"report").hexdigest()
    assert {y.copies for y in contents.yield_lots if y.yield_id == 13} == {1.0, 2.5}
    assert contents.yields[-1].lost_mg == 5
    with pytest.raises(UsageError, match="not a lot with a number"):
        run("yield", "Lot 01", "--mass", "1 g", "--also", "Lot 02=two")
    assert "before-1" in run("restore", tmp_path / "copy.sqlite")
    with open_log(path) as log:
        assert len(log.contents().yields) == 12


def test_a_log_without_yields(tmp_path: Path):
    with open_log(tmp_path / "new.sqlite") as log:
        log.add_lot(checked(NewLot, name="Shed"))
    for command, word in (("belief", "Nothing to learn"), ("compare", "No yield")):
        assert word in RUNNER.invoke(app, ["log", command, "--log", str(tmp_path / "new.sqlite")]).output


def test_an_invented_log_never_overwrites(tmp_path: Path):
    (tmp_path / "log.sqlite").write_bytes(b"mine")
    result = RUNNER.invoke(app, ["log", "invent", "--log", str(tmp_path / "log.sqlite")])
    assert isinstance(result.exception, LogError)
    assert (tmp_path / "log.sqlite").read_bytes() == b"mine"


def test_an_invented_log_can_be_valued_reported_and_planned_for(tmp_path: Path):
    """What the README offers to whoever has weighed nothing yet."""
    path, page = str(tmp_path / "t.sqlite"), tmp_path / "lot.html"
    assert RUNNER.invoke(app, ["log", "invent", "--log", path]).exit_code == 0
    spot = ["--spot", "2650 USD/ozt", "--spot-date", "2026-11-20", "--yes"]
    valued = RUNNER.invoke(app, ["value", "--lot", "1", "--log", path, "--json", "-", *spot])
    assert valued.exit_code == 0, valued.output
    assert json.loads(valued.stdout)["gold_mg"]["value"] > 0
    table = tmp_path / "lot.csv"
    reported = RUNNER.invoke(app, ["report", "--lot", "1", "--log", path, "--html", str(page), "--csv", str(table)])
    assert reported.exit_code == 0, reported.output
    assert "Lot 01.jpg" in page.read_text("utf-8")
    assert "plated area" in table.read_text("utf-8")
    planned = RUNNER.invoke(app, ["batch", "--lot", "1", "--mass", "470 g", "--log", path])
    assert planned.exit_code == 0, planned.output
