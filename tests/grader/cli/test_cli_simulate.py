"""``grader simulate``."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from grader.cli.app import app
from grader.simulate import BUYERS


def test_every_buyer_is_reported_and_the_json_says_the_same(tmp_path: Path) -> None:
    out = tmp_path / "run.json"
    result = CliRunner().invoke(
        app, ["simulate", "--lots", "20", "--learned", "--json", str(out)], env={"COLUMNS": "200"}
    )
    assert result.exit_code == 0, result.output
    written = json.loads(out.read_text("utf-8"))
    assert written["learned"]
    assert [b["buyer"] for b in written["buyers"]] == list(BUYERS)
    for buyer in written["buyers"]:
        assert buyer["buyer"] in result.output
    assert "not whether they are" in result.output
