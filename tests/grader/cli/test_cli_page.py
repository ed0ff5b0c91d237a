"""``grader page``: what it starts, and what it says when that fails."""

import socket
from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from calibration.errors import UsageError
from grader.cli.page import page, qr_lines
from grader.page_code import CODE_VARIABLE

APP = typer.Typer(pretty_exceptions_enable=False)
APP.command()(page)


class Started:
    """The command that would have been run, what it would have been told, and what was printed."""

    def __init__(self, command: list[str], environment: Mapping[str, str], opened: str | None, text: str) -> None:
        self.command, self.environment, self.opened, self.text = command, environment, opened, text


def started(monkeypatch: pytest.MonkeyPatch, code: int, *arguments: str) -> Started:
    """How the page would have been started, had it ended with that code."""
    seen: list[tuple[list[str], Mapping[str, str], str | None]] = []

    def run(command: list[str], environment: Mapping[str, str], port: int, opened: str | None) -> int:
        seen.append((command, environment, opened))
        return code

    monkeypatch.setattr("grader.cli.page._run", run)
    monkeypatch.setattr("grader.cli.page.has_screen", lambda: True)
    result = CliRunner().invoke(APP, [*arguments, *(() if "--port" in arguments else ("--port", "8766"))])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Started(*seen[0], result.output)


def test_listens_on_this_machine_alone_and_opens_the_browser(monkeypatch: pytest.MonkeyPatch) -> None:
    page = started(monkeypatch, 0)
    assert "--address=127.0.0.1" in page.command
    assert CODE_VARIABLE not in page.environment
    assert page.opened == "http://localhost:8766"
    assert "phone" not in page.text
    assert started(monkeypatch, 0, "--no-browser").opened is None


@pytest.mark.parametrize("option", ["--lan", "--phone"])
def test_a_network_gets_the_page_behind_a_gate_whose_code_is_new_each_time(
    monkeypatch: pytest.MonkeyPatch, option: str
) -> None:
    monkeypatch.setattr("grader.cli.page.lan_address", lambda: "192.0.2.7")
    first, second = started(monkeypatch, 0, option), started(monkeypatch, 0, option)
    code = first.environment[CODE_VARIABLE]
    assert code != second.environment[CODE_VARIABLE]
    assert "--address=0.0.0.0" in first.command
    assert not any(code in word for word in first.command)
    assert f"http://192.0.2.7:8766/?code={code}" in first.text
    assert first.opened == f"http://localhost:8766/?code={code}"
    monkeypatch.setattr("grader.cli.page.lan_address", lambda: None)
    assert "not on a network" in started(monkeypatch, 0, option).text


def test_the_code_for_the_camera_says_the_address() -> None:
    address = "http://192.0.2.7:8501/?code=KWRDX5QE"
    halves = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    lines = [[halves[c] for c in line] for line in qr_lines(address)]
    rows = [[cell[i] for cell in line] for line in lines for i in (0, 1)]
    picture = np.kron(np.where(np.array(rows) == 1, 0, 255).astype(np.uint8), np.ones((8, 8), np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR))[0] == address


def test_port_and_log_are_handed_on(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    command = started(monkeypatch, 0, "--port", "8765", "--log", str(tmp_path / "lots.sqlite")).command
    assert "--port=8765" in command
    assert command[-2:] == ["--log", str(tmp_path / "lots.sqlite")]
    assert Path(next(word for word in command if word.endswith(".py"))).is_file()


def test_a_code_of_an_earlier_run_is_not_handed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(CODE_VARIABLE, "KWRDX5QE")
    assert CODE_VARIABLE not in started(monkeypatch, 0).environment


@pytest.mark.parametrize("code", [0, 130])
def test_ending_it_is_no_error(monkeypatch: pytest.MonkeyPatch, code: int) -> None:
    assert "has stopped" in started(monkeypatch, code).text


def test_a_page_that_does_not_start_says_what_to_try(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UsageError, match="--port"):
        started(monkeypatch, 1)


def test_a_port_that_is_taken_is_said_before_anything_starts(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(UsageError) as caught:
            started(monkeypatch, 0, "--port", str(taken.getsockname()[1]))
    assert caught.value.code == "port-taken"
