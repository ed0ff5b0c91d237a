"""``grader page``: start the page in the browser."""

from __future__ import annotations

import subprocess
import sys
from importlib import resources
from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import UsageError


def page(
    port: Annotated[int, typer.Option(help="Port to listen on.")] = 8501,
    phone: Annotated[
        bool, typer.Option("--phone", help="Let other devices on this network open the page, such as your phone.")
    ] = False,
    log: Annotated[Path | None, typer.Option(help="The log file; the usual one if left out.")] = None,
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
        f"--server.address={'0.0.0.0' if phone else 'localhost'}",
        "--server.headless=true",
        "--server.maxUploadSize=60",
        "--client.showErrorDetails=none",
        "--client.toolbarMode=minimal",
        "--browser.gatherUsageStats=false",
        "--",
        *(["--log", str(log)] if log is not None else []),
    ]
    try:
        code = subprocess.call(command)  # noqa: S603 - our own interpreter and page
    except KeyboardInterrupt:
        code = 0
    if code not in (0, 130, -2):
        raise UsageError(
            "page-failed",
            f"The page stopped with code {code}.",
            f"If port {port} is taken, choose another with --port.",
        )
