"""Calls ``grader value`` for tests."""

from __future__ import annotations

import pytest
import typer
from typer.testing import CliRunner

from calibration.errors import GraderError
from grader.cli.value import value

app = typer.Typer(pretty_exceptions_enable=False)
app.command()(value)
RUNNER = CliRunner()
PRICE = ("--spot", "2650 USD/ozt", "--spot-date", "today")


def run(*arguments: object) -> str:
    result = RUNNER.invoke(app, [str(a) for a in arguments], env={"COLUMNS": "200"}, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def refused(*arguments: object) -> GraderError:
    with pytest.raises(GraderError) as caught:
        RUNNER.invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert caught.value.exit_code == 2
    return caught.value
