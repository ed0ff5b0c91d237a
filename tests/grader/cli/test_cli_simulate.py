"""``grader simulate``."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from calibration.errors import UsageError
from grader.cli.app import app
from grader.simulate import BUYERS, LEARNERS


def test_every_buyer_is_reported_and_the_json_says_the_same(tmp_path: Path) -> None:
    out = tmp_path / "run.json"
    result = CliRunner().invoke(
        app, ["simulate", "--lots", "20", "--learned", "--json", str(out)], env={"COLUMNS": "200"}
    )
    assert result.exit_code == 0, result.output
    written = json.loads(out.read_text("utf-8"))
    assert written["learned"]
    assert [b["buyer"] for b in written["buyers"]] == [b.name for b in BUYERS]
    for buyer in written["buyers"]:
        assert buyer["buyer"] in result.output
    assert "not whether they are" in result.output


def test_buyers_that_learn_are_reported_by_stage(tmp_path: Path) -> None:
    out = tmp_path / "run.json"
    result = CliRunner().invoke(
        app, ["simulate", "--trades", "2", "--lots", "12", "--json", str(out)], env={"COLUMNS": "200"}
    )
    assert result.exit_code == 0, result.output
    written = json.loads(out.read_text("utf-8"))
    assert [b["buyer"] for b in written["buyers"]] == [b.name for b in LEARNERS]
    assert [(s["first"], s["last"]) for s in written["stages"]] == [(1, 10), (11, 12)]
    for text in ("Lots 1 to 10 of each trade", "Would lose at own limit", "not whether they are"):
        assert text in result.output


def test_learned_thickness_and_learning_exclude_each_other() -> None:
    result = CliRunner().invoke(app, ["simulate", "--trades", "2", "--learned"])
    assert isinstance(result.exception, UsageError)
    assert result.exception.exit_code == 2
    assert "--learned" in str(result.exception)
