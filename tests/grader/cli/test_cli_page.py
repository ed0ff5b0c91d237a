"""``grader page``: what it starts, and what it says when that fails."""

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from calibration.errors import UsageError
from grader.cli.page import page

APP = typer.Typer(pretty_exceptions_enable=False)
APP.command()(page)


def started(monkeypatch: pytest.MonkeyPatch, code: int, *arguments: str) -> list[str]:
    """The command that would have been run, had it ended with that code."""
    seen: list[list[str]] = []

    def run(command: list[str]) -> int:
        seen.append(command)
        return code

    monkeypatch.setattr("grader.cli.page._run", run)
    CliRunner().invoke(APP, arguments, catch_exceptions=False)
    return seen[0]


def test_listens_on_this_machine_alone_unless_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    assert "--server.address=localhost" in started(monkeypatch, 0)
    assert "--server.address=0.0.0.0" in started(monkeypatch, 0, "--phone")


def test_port_and_log_are_handed_on_and_errors_stay_out_of_the_browser(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    command = started(monkeypatch, 0, "--port", "8765", "--log", str(tmp_path / "lots.sqlite"))
    assert "--server.port=8765" in command
    assert command[command.index("--") + 1 :] == ["--log", str(tmp_path / "lots.sqlite")]
    assert "--client.showErrorDetails=none" in command
    assert "--browser.gatherUsageStats=false" in command
    assert Path(command[command.index("run") + 1]).is_file()


@pytest.mark.parametrize("code", [0, 130])
def test_ending_it_is_no_error(monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    assert "streamlit" in started(monkeypatch, code)


def test_a_page_that_does_not_start_says_what_to_try(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UsageError, match="--port"):
        started(monkeypatch, 1)
