"""``grader page``: start the page in the browser."""

from __future__ import annotations

import signal
import subprocess
import sys
from importlib import resources
from typing import Annotated

import typer

from calibration.errors import UsageError

# Colours with a contrast of at least 4.5 against the page, light and dark, and against the text on them.
_LOOK = (
    "--theme.light.primaryColor=#00639b",
    "--theme.dark.primaryColor=#5cb8f0",
)


def page(
    port: Annotated[int, typer.Option(help="Port to listen on.")] = 8501,
    phone: Annotated[
        bool, typer.Option("--phone", help="Let other devices on this network open the page, such as your phone.")
    ] = False,
    log: Annotated[
        str | None,
        typer.Option(help="The log: a file or postgresql://user@host/database; else the usual file."),
    ] = None,
) -> None:
    """Open the page: measure a photo, value it, keep it in the log.

    Example: grader page
    """
    entry = resources.files("app").joinpath("main.py")
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(entry),
        f"--server.port={port}",
        f"--server.address={'0.0.0.0' if phone else 'localhost'}",  # noqa: S104 - only when asked
        "--server.headless=true",
        "--server.maxUploadSize=60",
        "--client.showErrorDetails=none",
        "--client.toolbarMode=minimal",
        "--browser.gatherUsageStats=false",
        "--server.fileWatcherType=none",
        *_LOOK,
        "--",
        *(["--log", log] if log is not None else []),
    ]
    code = _run(command)
    if code not in (0, 130, -signal.SIGINT, -signal.SIGTERM):
        raise UsageError(
            "page-failed",
            f"The page stopped with code {code}.",
            f"If port {port} is taken, choose another with --port.",
        )


def _run(command: list[str]) -> int:
    """Run the page until it ends, and never leave it behind: not when interrupted, and not when told to stop."""
    server = subprocess.Popen(command)  # noqa: S603 - our own interpreter and page
    signal.signal(signal.SIGTERM, lambda *_: server.terminate())
    try:
        return server.wait()
    except KeyboardInterrupt:
        server.wait()  # the terminal has told it too
        return 0
