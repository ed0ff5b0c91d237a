"""``grader guide`` as a person starts it."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
import urllib.request
from urllib.error import URLError

import pytest
from typer.testing import CliRunner

from grader.cli.app import app

START_S = 60


def test_it_serves_the_guide_until_it_is_stopped() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "grader", "guide", "--no-browser", "--port", str(port)]
    # Ctrl-C is heard, also where the tests themselves run in the background and ignore it
    usual = signal.signal(signal.SIGINT, signal.default_int_handler)
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as guide:
        signal.signal(signal.SIGINT, usual)
        try:
            assert "<title>Board gold grader" in first_page(port, guide)
        finally:
            guide.send_signal(signal.SIGINT)
            said, troubles = guide.communicate(timeout=20)
    assert f"http://localhost:{port}" in said
    assert "Traceback" not in troubles
    assert guide.returncode == 130


def first_page(port: int, guide: subprocess.Popen[str]) -> str:
    end = time.monotonic() + START_S
    while time.monotonic() < end and guide.poll() is None:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5) as answer:
                return str(answer.read().decode())
        except URLError:
            time.sleep(0.2)
    pytest.fail("the guide does not answer")


def test_a_taken_port_is_told() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        result = CliRunner().invoke(app, ["guide", "--no-browser", "--port", str(port)])
    assert getattr(result.exception, "code", "") == "port-taken"
    assert f"--port {port + 1}" in result.exception.advice  # type: ignore[union-attr]
