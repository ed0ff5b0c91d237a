"""``grader log`` keeps what a lot cost and brought, corrects it, and tells the profit."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from calibration.errors import UsageError
from grader.cli.app import app
from grader.log import open_log

RUNNER = CliRunner()
HANDBOOK = Path(__file__).parents[3] / "docs" / "learning.md"
Run = Callable[..., str]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


@pytest.fixture
def run(path: Path) -> Run:
    """Run a command of the log that has one lot; its output with single spaces."""

    def command(*arguments: object) -> str:
        result = RUNNER.invoke(app, ["log", *map(str, arguments), "--log", str(path)])
        if result.exception is not None:
            raise result.exception
        return " ".join(result.output.split())

    command("new", "attic lot", "--seller", "Ann")
    return command


def test_a_lot_from_purchase_to_profit_with_a_correction(run: Run) -> None:
    assert "No yield and no money yet" in run("compare")
    run("bought", "attic lot", "--price", "400 EUR")
    assert "open" in run("compare")
    run("cost", "attic lot", "--amount", "12 EUR", "--what", "freight", "--note", "by road", "--who", "Ann")
    run("sold", "attic lot", "--amount", "30 EUR", "--what", "bodies")
    said = run("settled", "attic lot", "--payable", "100 EUR", "--charges", "8.5 EUR", "--gold", "1.2 g")
    assert "Settlement 3 of attic lot" in said
    assert "\N{MINUS SIGN}290.50 EUR" in run("compare")  # 30 + 100 - 8.50 - 12 - 400
    said = run("bought", "attic lot", "--price", "40 EUR", "--corrects", 1, "--reason", "a zero too many")
    assert "takes the place of purchase 1" in said
    assert " 69.50 EUR" in run("compare")
    shown = run("show", "attic lot")
    for words in ("no, corrected by 2: a zero too many", "freight", "by road", "8.50 EUR", "1.20 g"):
        assert words in shown
    told = json.loads(run("compare", "--json"))
    assert told["accounts"][0]["profit"] == {"EUR": "69.5"}
    assert told["accounts_by"]["seller"][0]["name"] == "Ann"
    run("cost", "attic lot", "--amount", "0 EUR", "--what", "freight", "--corrects", 1, "--reason", "never was")
    assert json.loads(run("compare", "--json"))["accounts"][0]["profit"] == {"EUR": "81.5"}
    assert json.loads(run("list", "--json"))["money"][3]["corrects"] == 1


def test_gold_of_several_lots_waits_in_the_pot_for_one_settlement(run: Run) -> None:
    assert "No gold waits" in run("pot")
    with pytest.raises(UsageError) as empty:
        run("pot", "--payable", "100 EUR")
    assert empty.value.code == "pot-empty"
    run("new", "cellar lot")
    for lot, mass in (("attic lot", "1 g"), ("cellar lot", "0.5 g")):
        run("yield", lot, "--mass", mass, "--fineness", "990", "--fineness-known", "assayed")
    told = run("pot")
    assert "990 mg" in told
    assert "495 mg" in told
    said = run("pot", "attic lot", "cellar lot", "--payable", "100 EUR", "--charges", "8.5 EUR", "--refiner", "R")
    assert "of attic lot: 66.67 EUR" in said
    assert "of cellar lot: 33.33 EUR" in said
    assert "No gold waits" in run("pot")
    accounts = {a["name"]: a["balance"] for a in json.loads(run("compare", "--json"))["accounts"]}
    assert accounts == {"attic lot": {"EUR": "61.00"}, "cellar lot": {"EUR": "30.50"}}


def test_a_lot_is_said_to_be_something_else(run: Run) -> None:
    assert "is now loft lot." in run("change", "attic lot", "--name", "loft lot", "--part", "strips")
    assert "loft lot, put away" in run("change", "loft lot", "--archive")
    shown = json.loads(run("list", "--json"))
    assert [(lot["name"], lot["seller"], lot["part"], lot["archived"]) for lot in shown["lots"]] == [
        ("loft lot", "Ann", "strips", True)
    ]
    assert [change["name"] for change in shown["lot_changes"]] == ["attic lot", "loft lot"]
    assert "is as it was" in run("change", "loft lot", "--note", "")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("cost", "attic lot", "--amount", "-1 EUR", "--what", "x"), "money-negative"),
        (("cost", "attic lot", "--amount", "5", "--what", "x"), "currency-missing"),
        (("cost", "attic lot", "--amount", "5 EUX", "--what", "x"), "currency-unknown"),
        (("cost", "attic lot", "--amount", "5 EUR", "--what", " "), "entry-invalid"),
        (("cost", "barn", "--amount", "5 EUR", "--what", "x"), "lot-unknown"),
        (("sold", "barn", "--amount", "5 EUR", "--what", "x"), "lot-unknown"),
        (("settled", "barn", "--payable", "5 EUR"), "lot-unknown"),
        (("settled", "attic lot", "--payable", "5 EUR", "--charges", "1 USD"), "currencies-differ"),
        (("settled", "attic lot", "--payable", "5 EUR", "--charges", "9 EUR"), "charges-odd"),
        (("sold", "attic lot", "--amount", "90000000000 EUR", "--what", "gold"), "money-odd"),
        (("settled", "attic lot", "--payable", "5 EUR", "--gold", "40 kg"), "gold-odd"),
        (("sold", "attic lot", "--amount", "5 EUR", "--what", "gold", "--date", "1926-01-01"), "day-odd"),
        (("cost", "attic lot", "--amount", "5 EUR", "--what", "x", "--reason", "y"), "correction-of-what"),
        (("cost", "attic lot", "--amount", "5 EUR", "--what", "x", "--corrects", 1), "reason-missing"),
        (
            ("cost", "attic lot", "--amount", "5 EUR", "--what", "x", "--corrects", 9, "--reason", "y"),
            "money-unknown",
        ),
        (("bought", "attic lot", "--price", "5 EUR", "--corrects", 9, "--reason", "y"), "money-unknown"),
        (
            ("sold", "attic lot", "--amount", "5 EUR", "--what", "x", "--corrects", 1, "--reason", "y"),
            "money-other-kind",
        ),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(
    run: Run, path: Path, words: tuple[object, ...], code: str
) -> None:
    run("cost", "attic lot", "--amount", "12 EUR", "--what", "freight")
    with open_log(path) as log:
        before = log.contents()
    with pytest.raises(UsageError) as caught:
        run(*words)
    assert caught.value.code == code
    with open_log(path) as log:
        assert log.contents() == before


def test_a_figure_that_looks_wrong_is_taken_on_demand_and_a_corrected_price_is_not_held_against_itself(
    run: Run, path: Path
) -> None:
    run("settled", "attic lot", "--payable", "5 EUR", "--charges", "9 EUR", "--yes")
    run("bought", "attic lot", "--price", "0.40 EUR")
    run("bought", "attic lot", "--price", "400 EUR", "--corrects", 1, "--reason", "a slip")
    with open_log(path) as log:
        assert [str(p.price) for p in log.contents().current_purchases()] == ["400"]
        assert log.contents().money[0].balance == -4


def test_the_handbook_s_examples_run_one_after_another(path: Path) -> None:
    section = HANDBOOK.read_text("utf-8").partition("## Learn from it")[0]
    lines = [line for line in section.splitlines() if line.startswith("grader log ")]
    kept = [shlex.split(line)[1:] for line in lines if " add " not in line and " yield " not in line]
    assert {words[1] for words in kept} == {"new", "bought", "cost", "sold", "settled"}
    for words in kept:
        done = RUNNER.invoke(app, [*words, "--log", str(path)])
        assert done.exit_code == 0, (words, done.output, done.exception)
    told = RUNNER.invoke(app, ["log", "compare", "--json", "--log", str(path)])
    # 30 + 100 - 8.50 - 12 - 45
    assert json.loads(told.output)["accounts"][0]["profit"] == {"USD": "64.50"}
