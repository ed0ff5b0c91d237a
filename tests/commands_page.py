"""The guide's page of every command, made from the commands' own help.

``python -m tests.commands_page`` writes it anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from grader.cli.app import app

PAGE = Path(__file__).parents[1] / "docs" / "commands.md"
_HEAD = """# Every command

Made from the commands' own help, which `grader COMMAND --help` shows in the terminal.
"""


def commands_text() -> str:
    """The page as it should be now."""
    return _HEAD + "".join(_section(path, node) for path, node in _leaves(typer.main.get_command(app), ("grader",)))


def _leaves(node: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    children = getattr(node, "commands", None)
    if children is None:
        yield path, node
        return
    for name, child in children.items():
        if not child.hidden:
            yield from _leaves(child, (*path, name))


def _section(path: tuple[str, ...], node: Any) -> str:
    about, examples = _about(node.help or "")
    arguments = [p for p in node.params if p.param_type_name == "argument"]
    options = [p for p in node.params if p.param_type_name == "option" and not p.hidden and p.name != "help"]
    text = f"\n## {' '.join(path)}\n\n{about}\n"
    if examples:
        text += "\n```\n" + "\n".join(examples) + "\n```\n"
    rows = [(f"`{p.name.upper()}`", p.help or "") for p in arguments]
    rows += [(", ".join(f"`{word}`" for word in (*p.opts, *p.secondary_opts)), p.help or "") for p in options]
    if rows:
        text += "\n| | |\n|---|---|\n" + "".join(f"| {name} | {_cell(told)} |\n" for name, told in rows)
    return text


def _about(help_text: str) -> tuple[str, list[str]]:
    """The help's words, and its examples."""
    parts = [" ".join(part.split()) for part in help_text.split("\n\n")]
    examples = [part.removeprefix("Example:").strip() for part in parts if part.startswith("Example:")]
    return "\n\n".join(_plain(part) for part in parts if part and not part.startswith("Example:")), examples


def _plain(text: str) -> str:
    return text.replace("<", "&lt;")


def _cell(text: str) -> str:
    return _plain(" ".join(text.split())).replace("|", "\\|")


if __name__ == "__main__":
    PAGE.write_text(commands_text(), "utf-8")
