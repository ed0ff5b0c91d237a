"""``grader guide``: the user's guide in the browser, without a network."""

from __future__ import annotations

import webbrowser
from typing import Annotated

import typer

from calibration.errors import UsageError
from grader.cli.output import out
from grader.cli.page import has_screen


def guide(
    port: Annotated[int, typer.Option(help="Port to listen on.", min=1, max=65535)] = 8502,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open the browser.")] = False,
) -> None:
    """Open the guide in the browser: buying, the bench, costs, ranges, refusals, every command. Ctrl-C stops it.

    It comes with the program and needs no network; only this machine can open it.

    Example: grader guide
    """
    from grader.guide import guide_server

    try:
        server = guide_server(port)
    except OSError as error:
        raise UsageError(
            "port-taken",
            f"Something already answers on port {port}; perhaps the guide is open already.",
            f"Look at http://localhost:{port}, or choose another port: grader guide --port {port % 65535 + 1}",
        ) from error
    address = f"http://localhost:{port}"
    out.print(f"The guide: {address}   Ctrl-C stops it.", markup=False)
    if not no_browser and has_screen():
        webbrowser.open(address)
    with server:
        server.serve_forever()
