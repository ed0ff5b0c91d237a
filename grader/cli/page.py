"""``grader page``: start the page in the browser."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
import webbrowser
from collections.abc import Iterator, Mapping
from importlib import resources
from typing import Annotated, Any

import typer

from calibration.errors import UsageError
from grader.cli.output import out
from grader.cli.terminal import can_show
from grader.page_code import CODE_VARIABLE, new_code

_OPEN_S, _STOP_S = 60.0, 10.0
_DARKS = " ▀▄█"  # two rows of a QR code: neither, upper, lower, both
_STOPPED = (0, 130, -signal.SIGINT, -signal.SIGTERM)


def page(
    port: Annotated[int, typer.Option(help="Port to listen on.", min=1, max=65535)] = 8501,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan",
            "--phone",
            help="Let other devices on this network open the page, such as your phone, with a code made for this "
            "run. Nothing is encrypted: do it on a network of your own.",
        ),
    ] = False,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Do not open the browser.")] = False,
    log: Annotated[
        str | None,
        typer.Option(help="The log: a file, or postgresql://user@host/database. Default: the usual file."),
    ] = None,
) -> None:
    """Open the page in the browser: measure a photo, value it, keep it in the log. Ctrl-C stops it.

    Example: grader page

    Example: grader page --lan
    """
    _check_port(port)
    local, address, environment = f"http://localhost:{port}", "127.0.0.1", dict(os.environ)
    environment.pop(CODE_VARIABLE, None)
    if lan:
        address, code = "0.0.0.0", new_code()  # noqa: S104 - asked for
        environment[CODE_VARIABLE] = code  # not among the arguments, which anyone on this machine can read
        local += f"/?code={code}"
        _tell_phone(lan_address(), port, code)
    out.print(f"The page: {local.partition('?')[0]}   Ctrl-C stops it.", markup=False)
    # -P: what lies in the folder of the page must not be taken for a library of the same name
    command = [sys.executable, "-P", str(resources.files("app").joinpath("server", "serve.py"))]
    command += [f"--address={address}", f"--port={port}", *(["--log", log] if log is not None else [])]
    code_of_exit = _run(command, environment, port, None if no_browser or not has_screen() else local)
    if code_of_exit not in _STOPPED:
        raise UsageError(
            "page-failed",
            f"The page stopped with code {code_of_exit}.",
            f"If port {port} is taken, choose another with --port.",
        )
    out.print("The page has stopped.")


def _check_port(port: int) -> None:
    """Refuse a port on which something already answers.

    Raises:
        UsageError: ``port-taken``.
    """
    if _answers(port):
        raise UsageError(
            "port-taken",
            f"Something already answers on port {port}; perhaps the page is open already.",
            f"Look at http://localhost:{port}, or choose another port: grader page --port {port % 65535 + 1}",
        )


def _answers(port: int) -> bool:
    with socket.socket() as trial:
        trial.settimeout(1)
        return trial.connect_ex(("127.0.0.1", port)) == 0


def lan_address() -> str | None:
    """The address of this machine on its network, None if there is none. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # an address kept for documentation (RFC 5737): the system only chooses the way there
            probe.connect(("192.0.2.1", 9))
            address = str(probe.getsockname()[0])
        except OSError:
            return None
    return None if address.startswith(("0.", "127.")) else address


def _tell_phone(host: str | None, port: int, code: str) -> None:
    if host is None:
        out.print("This machine is not on a network, so a phone cannot reach it.", markup=False)
        return
    address = f"http://{host}:{port}/?code={code}"
    out.print(f"On the phone, in the same network:  {address}", markup=False)
    out.print(f"If it asks for the code: {code[:4]} {code[4:]}   (a new one each time)", markup=False)
    if out.is_terminal and not out.no_color and can_show(out, _DARKS):
        for line in qr_lines(address):
            out.print(line, markup=False, style="black on white")
    out.print("Whoever has the code can use the page and your log. Nothing is encrypted.", markup=False)


def qr_lines(text: str) -> Iterator[str]:
    """A QR code (ISO/IEC 18004) for a terminal, two rows of it a line, with a margin."""
    import cv2
    import numpy as np

    encoder: Any = cv2.QRCodeEncoder
    dark = np.pad(np.asarray(encoder.create().encode(text)) < 128, 2)
    dark = np.pad(dark, ((0, len(dark) % 2), (0, 0)))
    for upper, lower in zip(dark[::2], dark[1::2], strict=True):
        yield "".join(_DARKS[int(a) + 2 * int(b)] for a, b in zip(upper, lower, strict=True))


def has_screen() -> bool:
    """Whether a browser can show: without one, some systems would start a text browser in this very terminal."""
    return sys.platform in ("win32", "darwin") or any(map(os.environ.get, ("DISPLAY", "WAYLAND_DISPLAY")))


class _ToldToStop(Exception):  # noqa: N818 - no error
    """A signal said to stop."""


def _run(command: list[str], environment: Mapping[str, str], port: int, opened: str | None) -> int:
    """Run the page until it ends, and never leave it behind: not when interrupted or told to stop, nor when killed.

    The page's standard input is a pipe from here, so that it notices however this program ends.
    """
    for name in ("SIGTERM", "SIGHUP"):  # the terminal was closed: SIGHUP, unless nohup said to go on
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, _stop)
    server: subprocess.Popen[bytes] | None = None
    try:
        server = subprocess.Popen(command, env=environment, stdin=subprocess.PIPE)  # noqa: S603 - our own page
        if opened is not None:
            threading.Thread(target=_open_when_ready, args=(server, port, opened), daemon=True).start()
        return server.wait()
    except KeyboardInterrupt:
        return _end(server)
    except _ToldToStop:
        if server is not None:
            server.terminate()
        return _end(server)


def _stop(number: int, _frame: object) -> None:
    signal.signal(number, signal.SIG_IGN)
    raise _ToldToStop


def _open_when_ready(server: subprocess.Popen[bytes], port: int, address: str) -> None:
    end = time.monotonic() + _OPEN_S
    while server.poll() is None and time.monotonic() < end:
        if _answers(port):
            webbrowser.open(address)
            return
        time.sleep(0.2)


def _end(server: subprocess.Popen[bytes] | None) -> int:
    """Wait for the page to end, as it has been told; make it if it does not."""
    if server is None:
        return 0
    for insist in (server.terminate, server.kill):
        try:
            server.wait(_STOP_S)
        except subprocess.TimeoutExpired:
            insist()
    server.wait()
    return 0
