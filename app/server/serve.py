"""The page's server, which ``grader page`` starts: ``serve.py --address 127.0.0.1 --port 8501 --log FILE``.

The middleware sees every request, including the opening of a socket and an upload. It checks first the name, then
the code.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time
from contextlib import suppress
from pathlib import Path
from threading import Thread

import streamlit as st
import uvicorn
from starlette.middleware import Middleware

from app.server.gate import Gate
from app.server.hosts import OwnNames
from app.server.own_words import OwnWords
from app.server.patience import PatientHttp
from app.server.safe_headers import SafeHeaders
from app.server.unforeseen import tell_unforeseen
from grader.page_code import CODE_VARIABLE

_LEAVE_S = 3  # for answers that are under way when the page is asked to stop
_INSIST_S = 10


def page_app(code: str | None) -> st.App:
    """The page behind everything that guards it.

    Args:
        code: that opens it to a network; None for access from this machine only.
    """
    guards = [Middleware(SafeHeaders), Middleware(OwnNames, network=code is not None)]
    if code is not None:
        guards.append(Middleware(Gate, code=code))
    guards.append(Middleware(OwnWords))
    return st.App(Path(__file__).parents[1] / "main.py", middleware=guards, on_script_error=tell_unforeseen)


def main() -> None:
    """Serve the page until asked to stop, or until the program that started it is gone."""
    page = page_app(os.environ.pop(CODE_VARIABLE, None))
    if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) != signal.SIG_IGN:
        signal.signal(signal.SIGHUP, lambda *_: signal.raise_signal(signal.SIGTERM))
    if sys.stdin is not None and not sys.stdin.isatty():
        Thread(target=_stop_when_alone, name="alone", daemon=True).start()
    asked = _asked()
    # Streamlit sets up uvicorn's messages when it first reads its options: do that now, so that these settings hold
    st.get_option("server.headless")
    config = uvicorn.Config(
        page,
        host=asked.address,
        port=asked.port,
        http=PatientHttp,
        ws_per_message_deflate=False,  # costs memory for each window, and gains nothing within one machine or house
        proxy_headers=False,  # otherwise a merely claimed address would have its own queue at the gate
        server_header=False,
        access_log=False,  # it would hold the code
        log_level="warning",
        timeout_graceful_shutdown=_LEAVE_S,
    )
    with suppress(KeyboardInterrupt):
        uvicorn.Server(config).run()


def _asked() -> argparse.Namespace:
    """Arguments that say where to serve; the page itself looks for its log among the same arguments."""
    ask = argparse.ArgumentParser(allow_abbrev=False)
    ask.add_argument("--address", required=True)
    ask.add_argument("--port", type=int, required=True)
    ask.add_argument("--log")
    return ask.parse_args()


def _stop_when_alone() -> None:
    """Wait for the end of standard input, a pipe to which the program that started this one never writes."""
    while os.read(0, 1):
        pass
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(_INSIST_S)
    os._exit(1)


if __name__ == "__main__":
    main()
