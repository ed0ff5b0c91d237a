"""The handbook's examples, run like a notebook: block after block, in one namespace.

A block of Python may be followed by a block of text: what it prints, and what its last line evaluates to.
``python -m tests.handbook`` writes these anew. The network runs in floating point here, so that the figures are the
same on every processor.
"""

from __future__ import annotations

import ast
import contextlib
import io
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from grader.coverage.choose import forget_segmenter, register_segmenter
from grader.coverage.learned import LearnedSegmenter
from grader.coverage.network import Network

PAGE = Path(__file__).parents[1] / "docs" / "python.md"
_BLOCK = re.compile(r"```python\n(?P<code>.*?)```\n(?:\n```text\n(?P<output>.*?)```\n)?", re.DOTALL)


@contextlib.contextmanager
def in_floating_point() -> Iterator[None]:
    """Measure without whole numbers, which some processors cannot multiply."""
    name = "learned, in floating point"
    register_segmenter(
        name, lambda: LearnedSegmenter(Network(exact=True), Network.second(exact=True)), as_default=True
    )
    try:
        yield
    finally:
        forget_segmenter(name)


def output_of(code: str, names: dict[str, Any]) -> str:
    """Run a block; what it printed and what its last line evaluates to, as a notebook shows them."""
    lines = ast.parse(code)
    last = lines.body.pop() if lines.body and isinstance(lines.body[-1], ast.Expr) else None
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(lines, str(PAGE), "exec"), names)
        if last is not None:
            value = eval(compile(ast.Expression(last.value), str(PAGE), "eval"), names)
            if value is not None:
                printed.write(f"{value!r}\n")
    return printed.getvalue()


def blocks(text: str) -> list[tuple[str, str]]:
    """Code and expected output of each block of a page."""
    return [(found["code"], found["output"] or "") for found in _BLOCK.finditer(text)]


def rewritten(text: str) -> str:
    """The page with outputs as they are now."""
    names: dict[str, Any] = {}

    def block(found: re.Match[str]) -> str:
        output = output_of(found["code"], names)
        return f"```python\n{found['code']}```\n" + (f"\n```text\n{output}```\n" if output else "")

    return _BLOCK.sub(block, text)


if __name__ == "__main__":
    page = PAGE.read_text("utf-8")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_DATA_HOME"] = folder
        os.chdir(folder)
        with in_floating_point():
            page = rewritten(page)
    PAGE.write_text(page, "utf-8")
