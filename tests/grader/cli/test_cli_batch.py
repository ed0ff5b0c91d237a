"""``grader batch`` as a person or a script uses it."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from calibration.errors import RefusedError, UsageError
from grader.cautions import lines_for
from grader.cli.app import app
from grader.learn.invented import write_invented

GIVEN = ["--mass", "470 g", "--plated-area", "42 cm2", "--gold", "60..90..120 mg"]


def run(*arguments: str) -> Any:
    return CliRunner().invoke(app, ["batch", *arguments])


def test_needs_costs_gases_waste_and_cautions_are_in_sight() -> None:
    done = run(*GIVEN)
    assert done.exit_code == 0, done.output
    for words in (
        "hydrochloric acid", "3 % hydrogen peroxide", "nitric acid", "sodium metabisulfite", "metal-bearing liquor",
        "later rinse water", "sulfur dioxide (SO2)", "chlorine (Cl2)", "Floor by the reaction", "disposal", "example",
    ):  # fmt: skip
        assert words in done.output
    for caution in lines_for("batch"):
        assert caution in done.output


def test_json_alone_on_standard_output() -> None:
    done = run(*GIVEN, "--json", "-")
    document = json.loads(done.output)
    assert document["cautions"]
    # for the gold alone, and for what nitric acid sulfamic acid does not reach
    assert document["amounts"]["metabisulfite"]["floor"]["low"] > 0.06 * 0.7238
    assert document["nitric_as_metabisulfite_g"]["value"] > 50 * document["amounts"]["metabisulfite"]["floor"]["low"]
    assert document["amounts"]["sulfamic"]["planned"]["low"] > 1


def test_json_in_a_file(tmp_path: Path) -> None:
    done = run(*GIVEN, "--json", str(tmp_path / "plan.json"))
    assert "vessel load" in done.output
    assert json.loads((tmp_path / "plan.json").read_text("utf-8"))["schema"] == 1


def test_the_example_can_be_read_back(tmp_path: Path) -> None:
    text = run("--example").output
    assert tomllib.loads(text)["currency"] == "USD"
    (tmp_path / "mine.toml").write_text(text, "utf-8")
    done = run(*GIVEN, "--set", str(tmp_path / "mine.toml"), "--figures")
    assert "Figures of the process (mine)" in done.output
    assert "shipped examples" not in done.output


@pytest.mark.parametrize(
    ("arguments", "kind", "code"),
    [
        ([], RefusedError, "no-plated-area"),
        (["--plated-area", "42 cm2"], RefusedError, "pieces-mass-unknown"),
        (["--mass", "470 g", "--plated-area", "42 cm2", "--gold", "0 mg"], RefusedError, "no-gold"),
        ([*GIVEN, "--vessel", "5 ml"], RefusedError, "vessel-too-small"),
        ([*GIVEN, "--vessel", "1 gallon"], UsageError, "unit-ambiguous"),
        ([*GIVEN, "--other-face", "green"], UsageError, "other-face-unknown"),
        ([*GIVEN, "--set", "no-such-set"], UsageError, "process-unknown"),
        (["a.json", "--lot", "shed"], UsageError, "two-sources"),
    ],
)
def test_refusals(arguments: list[str], kind: type[Exception], code: str) -> None:
    done = run(*arguments)
    assert isinstance(done.exception, kind)
    assert getattr(done.exception, "code", "") == code


def test_a_photo_without_gold_is_refused_as_such(tmp_path: Path) -> None:
    photo = Path(__file__).parents[3] / "sample_images" / "no-gold.jpg"
    measured = str(tmp_path / "none.json")
    CliRunner().invoke(app, ["measure", str(photo), "--json", measured])
    done = run(measured, "--mass", "100 g")
    assert isinstance(done.exception, RefusedError)
    assert done.exception.code == "no-gold"


def test_a_lot_of_the_log_is_found_by_its_number_and_by_its_name(tmp_path: Path) -> None:
    log = str(tmp_path / "log.sqlite")
    write_invented(Path(log), 2)
    plans = [run("--lot", lot, "--log", log, "--mass", "470 g", "--json", "-") for lot in ("1", " Lot 01 ", "2")]
    assert [done.exit_code for done in plans] == [0, 0, 0], plans[0].output
    by_number, by_name, other = (json.loads(done.output) for done in plans)
    assert by_number == by_name != other


def test_a_lot_that_is_not_in_the_log_is_refused(tmp_path: Path) -> None:
    log = str(tmp_path / "log.sqlite")
    write_invented(Path(log), 1)
    done = run("--lot", "2", "--log", log, "--mass", "470 g")
    assert isinstance(done.exception, UsageError)
    assert done.exception.code == "lot-unknown"
