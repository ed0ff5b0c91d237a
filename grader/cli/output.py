"""What all commands share in speaking to a person or to a pipe."""

from __future__ import annotations

import json
from typing import Any

from rich.console import Console
from rich.markup import escape

from calibration.errors import GraderError
from calibration.files import write_whole

# Rich drops colour and boxes' control codes by itself when the output is piped.
__all__ = ["as_json", "err", "out", "show_error", "write_whole"]

out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)


def show_error(error: GraderError, about: str = "") -> None:
    """One error for a person: what is wrong, and what to do next."""
    where = f"{about}: " if about else ""
    err.print(f"[bold red]{escape(where)}[/]{escape(error.message)}")
    err.print(f"  → {escape(error.advice)}")


def as_json(data: Any) -> bytes:
    """A JSON document, UTF-8, one line, ended by a newline. Not-a-number is a defect, so it raises ValueError."""
    return (json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n").encode()
