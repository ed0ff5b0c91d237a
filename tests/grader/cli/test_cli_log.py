"""``grader log`` as a buyer uses it."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from calibration.distributions import Distribution
from calibration.errors import DataFileError, GraderError, LogError, UnitError, UsageError
from calibration.inputs import Input
from grader.cli.learned import learned_from
from grader.cli.log import log_app
from grader.log import open_log
from grader.model import ProductModel, Range, Term

RUNNER = CliRunner()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


@pytest.fixture
def grader_log(path: Path):
    """Run a command on the log of this test and give what it printed."""

    def run(*arguments: object) -> str:
        result = RUNNER.invoke(log_app, [*map(str, arguments), "--log", str(path)])
        if result.exception is not None:
            raise result.exception
        assert result.exit_code == 0
        return result.output

    return run


def measurement(photo: str, sha: str, gold_mg: float = 5.0) -> dict[str, Any]:
    thickness = Input(
        "thickness", "thickness", Distribution("lognormal", (1.0, 0.3)), "test", "um", of=("hard_gold",)
    )
    scale = Input.named(f"scale:{sha}", "scale", Distribution("normal", (1.0, 0.02)), "test")
    area = ProductModel.of(425.7, [scale])
    model = ProductModel((Term(gold_mg, (thickness.name,)),), {thickness.name: thickness})
    return {
        "schema": 1,
        "photo": photo,
        "sha256": sha * 32,
        "width_px": 4000,
        "height_px": 3000,
        "scale": {"method": "target", "px_per_mm": 9.8, "relative_uncertainty": 0.004},
        "plated_area_mm2": Range.of(area.draws()).as_json(),
        "gold_mg": Range.of(model.draws()).as_json(),
        "model": {"gold_mg": model.as_json(), "area_mm2": {"hard_gold": area.as_json()}},
        "warnings": [],
    }


def test_a_lot_from_start_to_yield(grader_log, path: Path, tmp_path: Path):
    assert "Shed" in grader_log("new", "Shed", "--seller", "man at [the] market", "--note", "two crates")
    (tmp_path / "one.json").write_text(json.dumps(measurement("a.jpg", "aa")))
    lines = [measurement("b.jpg", "bb"), measurement("c.jpg", "cc")]
    (tmp_path / "two.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    assert grader_log("add", "shed", tmp_path / "one.json", tmp_path / "two.jsonl").startswith("3 estimates")
    assert grader_log("add", "1", tmp_path / "one.json").startswith("1 estimate ")
    grader_log(
        "bought", "Shed", "--price", "120.50 USD", "--mass", "1 lb 2 oz", "--count", 12, "--date", "2026-02-03"
    )
    grader_log("yield", "Shed", "--mass", "1.25 g", "--uncertainty", "0.01 g", "--fineness", "995", "--yes")

    entries = open_log(path).entries("Shed")
    assert [e.document for e in entries.estimates] == [measurement("a.jpg", "aa"), *lines, measurement("a.jpg", "aa")]
    (purchase,), (gold,) = entries.purchases, entries.yields
    assert (str(purchase.price), purchase.currency, purchase.count) == ("120.50", "USD", 12)
    # 18 avoirdupois ounces of 28.349523125 g (international yard and pound agreement of 1959)
    assert purchase.mass_g == pytest.approx(18 * 28.349523125, rel=1e-12)
    assert purchase.bought_on == date(2026, 2, 3)
    assert (gold.mass_mg, gold.uncertainty_mg, gold.fineness, gold.fineness_known) == (1250, 10, 0.995, "assumed")

    listed = grader_log("list").splitlines()
    assert listed[0].split("\t")[:3] == ["No.", "Lot", "Seller"]
    cells = listed[1].split("\t")
    assert cells[:3] == ["1", "Shed", "man at [the] market"]
    assert cells[5:] == ["3", "120.50 USD", "1.250 g"]
    shown = grader_log("show", "Shed")
    for part in ("two crates", "man at [the] market", "a.jpg", "mm²", "120.50 USD", "510", "assumed"):
        assert part in shown
    assert shown.count("measured again") == 1


def test_json_of_list_and_show(grader_log, tmp_path: Path):
    grader_log("new", "Shed")
    grader_log("new", "Attic")
    (tmp_path / "one.json").write_text(json.dumps(measurement("a.jpg", "aa")))
    grader_log("add", "Attic", tmp_path / "one.json")
    assert [lot["name"] for lot in json.loads(grader_log("list", "--json"))["lots"]] == ["Shed", "Attic"]
    shown = json.loads(grader_log("show", "Attic", "--json"))
    assert shown["estimates"][0]["document"] == measurement("a.jpg", "aa")
    assert [lot["name"] for lot in shown["lots"]] == ["Attic"]


def test_export(grader_log, tmp_path: Path):
    grader_log("new", "Shed")
    grader_log("bought", "Shed", "--price", "0 EUR")
    assert json.loads(grader_log("export"))["purchases"][0]["price"] == "0"
    rows = list(csv.DictReader(io.StringIO(grader_log("export", "--format", "csv", "--table", "purchases"))))
    assert (rows[0]["lot"], rows[0]["currency"]) == ("Shed", "EUR")
    assert "written" in grader_log("export", "--output", tmp_path / "all.json")
    assert json.loads((tmp_path / "all.json").read_text())["lots"][0]["name"] == "Shed"
    for wrong, code in (
        (["--format", "csv"], "table-unknown"),
        (["--format", "csv", "--table", "cats"], "table-unknown"),
        (["--table", "lots"], "table-not-for-json"),
        (["--output", tmp_path / "no" / "where.json"], "cannot-write"),
    ):
        with pytest.raises(UsageError) as caught:
            grader_log("export", *wrong)
        assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "fineness"),
    [
        ("995", 0.995),
        ("999.9", 0.9999),
        ("1000", 1.0),
        ("0.916", 0.916),
        (".75", 0.75),
        ("1.0", 1.0),
        ("99.5 %", 0.995),
    ],
)
def test_fineness_as_the_trade_writes_it(grader_log, path: Path, text, fineness):
    grader_log("new", "Shed")
    grader_log("yield", "Shed", "--mass", "8 dwt", "--fineness", text, "--fineness-known", "assayed")
    (gold,) = open_log(path).entries("Shed").yields
    assert gold.fineness == pytest.approx(fineness, rel=1e-12)
    assert gold.fineness_known == "assayed"
    # a pennyweight is 24 grains of 64.79891 mg
    assert gold.mass_mg == pytest.approx(8 * 24 * 64.79891, rel=1e-12)


def test_a_yield_of_nothing_is_a_yield(grader_log, path: Path):
    grader_log("new", "Shed")
    grader_log("yield", "Shed", "--mass", "0 g")
    (gold,) = open_log(path).entries("Shed").yields
    assert (gold.mass_mg, gold.fineness, gold.fineness_known) == (0, None, None)
    assert gold.weighed_on == date.today()


@pytest.mark.parametrize(
    ("arguments", "kind", "code"),
    [
        (["show", "Cellar"], UsageError, "lot-unknown"),
        (["show", "7"], UsageError, "lot-unknown"),
        (["new", "SHED"], UsageError, "lot-exists"),
        (["new", "12"], UsageError, "entry-invalid"),
        (["add", "Shed", "missing.json"], DataFileError, "measurement-unreadable"),
        (["bought", "Shed", "--price", "120"], UnitError, "currency-missing"),
        (["bought", "Shed", "--price", "120 USD", "--mass", "12"], UnitError, "unit-missing"),
        (["bought", "Shed", "--price", "120 USD", "--count", "0"], UsageError, "entry-invalid"),
        (["bought", "Shed", "--price", "120 USD", "--date", "tomorrow"], UsageError, "date-unreadable"),
        (["yield", "Shed", "--mass", "1 oz"], UnitError, "ounce-ambiguous"),
        (["yield", "Shed", "--mass", "1 g", "--fineness", "22"], UnitError, "fineness-unreadable"),
        (["yield", "Shed", "--mass", "1 g", "--fineness", "1200"], UsageError, "entry-invalid"),
    ],
)
def test_mistakes_are_named_and_change_nothing(grader_log, path: Path, arguments, kind, code):
    grader_log("new", "Shed")
    before = path.read_bytes()
    with pytest.raises(GraderError) as caught:
        grader_log(*arguments)
    assert isinstance(caught.value, kind)
    assert caught.value.code == code
    assert path.read_bytes() == before


def test_measurements_without_gold_are_not_logged_nor_those_beside_them(grader_log, path: Path, tmp_path: Path):
    grader_log("new", "Shed")
    good = measurement("a.jpg", "aa")
    refused = {**measurement("b.jpg", "bb"), "refused": {"code": "x", "message": "Too blurred.", "advice": "Again."}}
    no_scale = {**measurement("c.jpg", "cc"), "scale": {"method": "none"}}
    for bad, code in (
        (refused, "measurement-refused"),
        (no_scale, "measurement-without-scale"),
        (good, "photo-twice"),
    ):
        (tmp_path / "m.jsonl").write_text(json.dumps(good) + "\n" + json.dumps(bad) + "\n")
        with pytest.raises(UsageError) as caught:
            grader_log("add", "Shed", tmp_path / "m.jsonl")
        assert caught.value.code == code
    assert open_log(path).contents().estimates == ()


@pytest.mark.parametrize("command", [["list"], ["show", "x"], ["export"], ["bought", "x", "--price", "1 USD"]])
def test_no_log_is_started_by_looking(grader_log, path: Path, command):
    with pytest.raises(LogError) as caught:
        grader_log(*command)
    assert caught.value.code == "log-missing"
    assert not path.exists()


def test_every_command_has_help():
    shown = RUNNER.invoke(log_app, ["--help"]).output
    for command in ("list", "show", "new", "add", "bought", "yield", "export"):
        assert command in shown
        result = RUNNER.invoke(log_app, [command, "--help"])
        assert result.exit_code == 0
        assert "--log" in result.output


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (["yield", "Shed", "--mass", "1e9 kg"], "gold-odd"),
        (["yield", "Shed", "--mass", "5 mg", "--copies", "1e-308"], "copies-odd"),
        (["yield", "Shed", "--mass", "5 mg", "--date", "2126-01-01"], "day-odd"),
        (["bought", "Shed", "--price", "120 USD", "--mass", "1e9 kg"], "boards-mass-odd"),
        (["bought", "Shed", "--price", "1e15 USD"], "price-odd"),
    ],
)
def test_what_looks_wrong_is_asked_about_and_scripts_say_yes(grader_log, path: Path, line: list[str], code: str):
    grader_log("new", "Shed")
    with pytest.raises(UsageError) as caught:
        grader_log(*line)
    assert caught.value.code == code
    assert "Nothing was logged" in caught.value.message
    assert "--yes" in caught.value.advice
    with open_log(path) as log:
        assert (log.contents().yields, log.contents().purchases) == ((), ())
    grader_log(*line, "--yes")
    with open_log(path) as log:
        assert len(log.contents().yields) + len(log.contents().purchases) == 1


@pytest.mark.parametrize(("answer", "kept"), [("n\n", 0), ("\n", 0), ("y\n", 1)])
def test_a_person_is_asked(grader_log, path: Path, monkeypatch, answer: str, kept: int):
    grader_log("new", "Shed")
    monkeypatch.setattr("grader.cli.questions._somebody_is_there", lambda: True)
    result = RUNNER.invoke(log_app, ["yield", "Shed", "--mass", "1e9 kg", "--log", str(path)], input=answer)
    assert "Is it right as it stands?" in result.output
    with open_log(path) as log:
        assert len(log.contents().yields) == kept
    if not kept:
        assert isinstance(result.exception, UsageError)
        assert result.exception.code == "not-confirmed"


def test_restore_says_what_was_kept_and_what_is_there(grader_log, path: Path, tmp_path: Path):
    grader_log("new", "Shed")
    assert "written and checked: 1 lot, 0 yields" in grader_log("backup", tmp_path / "copy.db")
    grader_log("new", "Attic")
    said = grader_log("restore", tmp_path / "copy.db")
    assert "Restored and checked: 1 lot, 0 yields" in said
    assert f"The log that was there is now {path}.before-1" in said
    path.unlink()
    for command in (["list"], ["new", "Cellar"]):
        with pytest.raises(LogError) as caught:
            grader_log(*command)
        assert caught.value.exit_code == 2
        assert f"{path}.before-1" in caught.value.message
    assert not path.exists()


def test_measuring_tells_that_the_log_was_set_aside(tmp_path: Path, monkeypatch, capsys):
    monkeypatch.setattr("grader.cli.learned.log_path", lambda: tmp_path / "log.sqlite")
    monkeypatch.setattr("grader.log.store.log_path", lambda: tmp_path / "log.sqlite")
    assert learned_from(None) is None
    open_log().close()
    (tmp_path / "log.sqlite").rename(tmp_path / "log.sqlite.before-1")
    assert learned_from(None) is None
    assert "log.sqlite.before-1" in capsys.readouterr().err.replace("\n", "")
    assert not (tmp_path / "log.sqlite").exists()
