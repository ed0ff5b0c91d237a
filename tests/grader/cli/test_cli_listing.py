"""``grader listing``: what is stated of a lot narrows it, in the terminal and in its JSON."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from calibration.errors import UnitError
from grader.cli.app import app

SCALE = ["--length", "60 mm", "--from", "100,100", "--to", "400,100"]


@pytest.fixture
def run(draw: Callable[..., Path], tmp_path: Path) -> Callable[..., Any]:
    photo = draw("boards.png", [(20, 20, 80, 60), (90, 20, 140, 60)], [(25, 55, 55, 60), (95, 55, 125, 60)])

    def call(*words: str) -> Any:
        return CliRunner().invoke(app, ["listing", str(photo), *SCALE, *words], catch_exceptions=False)

    return call


def lot(told: Any) -> dict[str, Any]:
    assert told.exit_code == 0, told.output
    found: dict[str, Any] = json.loads(told.stdout)["lot"]
    return found


def test_the_json_tells_the_lot_that_the_photos_show(run: Callable[..., Any]) -> None:
    found = lot(run("--json", "-"))
    assert found["board_count"]["value"] == 2
    assert found["by"] == "the boards in the photos"


def test_a_count_multiplies_the_lot(run: Callable[..., Any]) -> None:
    two, ten = lot(run("--json", "-")), lot(run("--json", "-", "--count", "10"))
    assert (ten["board_count"]["low"], ten["board_count"]["high"]) == (10, 10)
    # the eight that no photo shows are drawn with a long upper tail, so that their median is below that of the two
    assert 3 * two["gold_mg"]["value"] < ten["gold_mg"]["value"] < 5.5 * two["gold_mg"]["value"]
    assert ten["gold_mg"]["high"] > 5 * two["gold_mg"]["high"] * 0.9


def test_a_mass_gives_the_number_with_its_range(run: Callable[..., Any]) -> None:
    told = run("--mass", "500 g")
    assert told.exit_code == 0
    assert "The whole lot, by the boards in the photos and the stated mass:" in " ".join(told.stdout.split())
    found = lot(run("--json", "-", "--mass", "500 g"))
    # a board of 60 x 40 mm at some 0.5 g a cm2 (areal-density of lot_inputs.toml) weighs about 10 g
    assert 20 < found["board_count"]["low"] < found["board_count"]["value"] < found["board_count"]["high"] < 120


def test_what_cannot_be_read_is_refused_before_anything_is_measured(
    run: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("grader.cli.listing.read_listing", None)
    with pytest.raises(UnitError):
        run("--mass", "much")
