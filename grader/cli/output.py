"""Output to people and pipes, shared by all commands."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.markup import escape
from rich.table import Table

from calibration.advice import Advised, wording
from calibration.files import write_whole
from grader.cli.terminal import Terminal, readable

__all__ = [
    "advice_of",
    "err",
    "is_stdout",
    "json_line",
    "out",
    "show_error",
    "show_notice",
    "show_table",
    "write_data",
    "write_json",
    "write_whole",
]

# Rich drops colour and control codes by itself when the output is piped, and colour where NO_COLOR is set.
out = Terminal(highlight=False, soft_wrap=True)
err = Terminal(stderr=True, highlight=False, soft_wrap=True)


def advice_of(item: Advised) -> str:
    """Advice in the words of the command line."""
    return wording("grader.cli").advice_of(item)


def show_error(error: Advised, about: str = "") -> None:
    """One error for a person, or a warning that must not be mixed with data: what is wrong, and what to do next."""
    where = f"{about}: " if about else ""
    err.print(f"[bold red]{escape(_line(where))}[/]{escape(_line(error.message))}")
    err.print(f"  → {escape(_line(advice_of(error)))}")


def _line(text: str) -> str:
    """A text on one line: what somebody typed into it may break no lines."""
    return " ".join(text.splitlines())


def show_notice(item: Advised) -> None:
    """A warning for a person: what deserves less trust, and what to do about it."""
    out.print(f"[yellow]{escape(item.message)}[/]")
    out.print(f"  → {escape(advice_of(item))}")


def show_table(
    columns: Sequence[str], rows: Sequence[Sequence[str]], *, indent: str = "", right: Sequence[int] = ()
) -> None:
    """A table on a terminal, tab-separated lines in a pipe.

    Args:
        columns: heads; where all are empty there is no line of heads.
        rows: as many texts each as there are columns.
        indent: before each line on a terminal.
        right: numbers of the columns whose texts stand to the right on a terminal.
    """
    if not out.is_terminal:
        for row in (columns, *rows) if any(columns) else rows:
            out.file.write("\t".join(readable(" ".join(cell.split())) for cell in row).rstrip("\t") + "\n")
        return
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=any(columns))
    for number, column in enumerate(columns):
        head = column if number else indent + column
        table.add_column(escape(head), justify="right" if number in right else "left")
    for first, *others in rows:
        table.add_row(indent + escape(first), *(escape(cell) for cell in others))
    out.print(table, soft_wrap=False)


def json_line(data: Any) -> bytes:
    """A JSON document, UTF-8, one line, ended by a newline. Not-a-number is a defect, so it raises ValueError."""
    # A file name may hold bytes that are no text; JSON has an escape for them.
    return (json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8", "backslashreplace")


def is_stdout(path: Path | None) -> bool:
    """Whether a result was asked for on the standard output (``-``), where nothing else may then be printed."""
    return path is not None and str(path) == "-"


def write_data(text: str) -> None:
    """Data on the standard output: UTF-8 in a pipe or a file, as our readers want it, whatever a terminal shows."""
    buffer = getattr(out.file, "buffer", None)
    if out.is_terminal or buffer is None:
        out.file.write(readable(text))
        return
    out.file.flush()
    buffer.write(text.encode("utf-8", "backslashreplace"))
    buffer.flush()


def write_json(path: Path, *documents: Any) -> None:
    """Write documents, a line each, to a file or, for ``-``, to the standard output."""
    data = b"".join(json_line(document) for document in documents)
    if is_stdout(path):
        write_data(data.decode())
    else:
        write_whole(path, data)
