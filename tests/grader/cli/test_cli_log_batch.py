"""``grader log batch`` as a person uses it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from grader.cautions import lines_for
from grader.cli.app import app


@pytest.fixture
def run(tmp_path: Path) -> Any:
    log = str(tmp_path / "log.sqlite")

    def call(*arguments: str, code: str | None = None) -> str:
        done = CliRunner().invoke(app, ["log", *arguments, "--log", log])
        if code is None:
            assert done.exit_code == 0, (done.output, done.exception)
        else:
            assert getattr(done.exception, "code", None) == code, (done.output, done.exception)
        return done.output

    call("new", "attic lot")
    call("batch", "new", "first batch", "--date", "2026-11-20")
    call("batch", "new", "second batch", "--date", "2026-11-28")
    return call


def test_a_batch_from_its_loads_to_the_next_one(run: Any) -> None:
    run("batch", "load", "first batch", "--lot", "attic lot", "--vessel", "1 l beaker", "--mass", "470 g")
    run("batch", "used", "first batch", "hydrochloric acid", "1.1 l")
    run("batch", "used", "first batch", "filters", "2 pieces")
    run("batch", "used", "first batch", "own work", "90 min")
    run("batch", "out", "first batch", "metal-bearing liquor", "1.4 l")
    run("batch", "test", "first batch", "stannous chloride", "negative", "--sample", "spent gold solution")
    assert "--carried 1" in run("batch", "carry", "first batch", "attic lot=0.1")
    assert "Yield 1" in run("batch", "yield", "first batch", "--mass", "0.42 g", "--uncertainty", "0.01 g")
    listed = run("batch", "list")
    assert "attic lot × 0.1" in listed
    assert "Boards that wait" in listed
    assert "wait as carry-over 1" in run("batch", "load", "second batch", "--lot", "attic lot=0.1")
    run("batch", "strike", "load", "2", "--reason", "they were carried over")
    run("batch", "load", "second batch", "--carried", "1")
    assert "Boards that wait" not in run("batch", "list")
    shown = run("batch", "show", "first batch")
    for words in (
        "1 l beaker", "470 g", "hydrochloric acid", "1.1 l", "2 pieces", "1.5 h", "metal-bearing liquor",
        "stannous chloride", "negative", "spent gold solution", "second batch", "not judged", "420",
    ):  # fmt: skip
        assert words in shown
    for caution in lines_for("batch"):
        assert caution in shown
    assert "no: they were carried over" in run("batch", "show", "2")
    assert "420" in run("show", "attic lot")


def test_json_holds_one_batch_or_all(run: Any) -> None:
    run("batch", "load", "first batch", "--lot", "attic lot", "--mass", "470 g")
    run("batch", "load", "second batch", "--lot", "attic lot=0.5", "--mass", "90 g")
    run("batch", "used", "second batch", "filters", "2 pieces")
    run("batch", "strike", "amount", "1", "--reason", "counted twice")
    everything = json.loads(run("batch", "list", "--json"))
    assert [row["name"] for row in everything["batches"]] == ["first batch", "second batch"]
    assert [row["mass_g"] for row in everything["batch_loads"]] == [470, 90]
    first, second = (json.loads(run("batch", "show", str(n), "--json")) for n in (1, 2))
    assert [row["mass_g"] for row in first["batch_loads"]] == [470]
    assert [row["copies"] for row in second["load_lots"]] == [0.5]
    assert first["batch_strikes"] == []
    assert [row["reason"] for row in second["batch_strikes"]] == ["counted twice"]
    assert tuple(first["cautions"]) == tuple(lines_for("batch"))


def test_the_plan_is_kept(run: Any, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    given = ["--mass", "470 g", "--plated-area", "42 cm2", "--gold", "90 mg"]
    assert CliRunner().invoke(app, ["batch", *given, "--json", str(plan)]).exit_code == 0
    run("batch", "new", "third batch", "--plan", str(plan))
    plan.write_text("[]", "utf-8")
    run("batch", "new", "fourth batch", "--plan", str(plan), code="plan-invalid")


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["used", "first batch", "acid", "1.1"], "unit-missing"),
        (["used", "first batch", "acid", "0 l"], "value-zero"),
        (["used", "first batch", "acid", "3 bottles"], "quantity-unreadable"),
        (["used", "no batch", "acid", "1 l"], "batch-unknown"),
        (["test", "first batch", "stannous chloride", "perhaps"], "entry-invalid"),
        (["carry", "first batch", "attic lot"], "carry-over-too-much"),
        (["carry", "first batch", "attic lot", "--gold-left", "5 mg"], "gold-left-uncertain"),
        (["load", "first batch"], "load-empty"),
        (["load", "first batch", "--lot", "attic lot", "--lot", "attic lot"], "lot-twice"),
        (["yield", "first batch", "--mass", "1 g"], "batch-empty"),
        (["strike", "load", "9", "--reason", "x"], "entry-unknown"),
        (["show", "no batch"], "batch-unknown"),
    ],
)
def test_refusals(run: Any, arguments: list[str], code: str) -> None:
    run("batch", *arguments, code=code)
