"""``grader currency``, and what it means for the commands that value."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from calibration.errors import GraderError
from grader.cli.app import app

BATCH = ("batch", "--mass", "30 g", "--gold", "20 mg", "--plated-area", "30 cm2")


@pytest.fixture(autouse=True)
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "own" / "money.json"
    monkeypatch.setattr("grader.cli.currency.own_money_path", lambda: path)
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [*map(str, arguments)])


def test_a_rate_is_kept_with_its_day_and_shown(kept: Path) -> None:
    assert "none chosen" in run("currency").output
    assert not kept.exists()
    done = run("currency", "eur", "--rate", "1 USD = 0.92 EUR", "--date", "2026-11-20")
    assert done.exit_code == 0
    assert run("currency").output == done.output
    assert "Your currency: EUR" in done.output
    assert "1 USD = 0.92 EUR on 2026-11-20" in done.output
    run("currency", "--rate", "0.95 EUR/USD", "--date", "2026-11-21")
    assert "1 USD = 0.95 EUR on 2026-11-21" in run("currency").output
    assert "0.92" not in run("currency").output


def test_a_batch_is_priced_in_the_currency_that_was_chosen() -> None:
    assert json.loads(run(*BATCH, "--json", "-").output)["currency"] == "USD"
    run("currency", "EUR", "--rate", "1 USD = 0.92 EUR")
    document = json.loads(run(*BATCH, "--json", "-").output)
    assert document["currency"] == "EUR"
    assert "examples-carried-over" in {w["code"] for w in document["warnings"]}


def test_a_currency_or_rate_that_there_is_not_is_refused(kept: Path) -> None:
    for arguments in (("XAU",), ("EUR", "--rate", "0.92"), ("EUR", "--rate", "1 USD = 1.234 EUR")):
        done = run("currency", *arguments)
        assert isinstance(done.exception, GraderError)
    assert not kept.exists()
