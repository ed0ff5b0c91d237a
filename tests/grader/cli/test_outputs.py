"""Whatever is given to an output option, what is no file stays what it is: a link a link, a device a device."""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer

from grader.cli.app import app, main

SCALE = ["--length", "60 mm", "--from", "100,100", "--to", "400,100"]
PRICE = ["--spot", "85 USD/g", "--spot-date", "today"]
WORDS: dict[str, list[str]] = {
    "measure": ["measure", "boards.png", *SCALE, "--json", "1.json", "--coverage", "2.png", "--overlay", "3.png",
                "--training", "4.zip"],
    "cut": ["cut", "boards.png", *SCALE, "--json", "1.json", "--overlay", "2.png", "--template", "3.pdf"],
    "grade": ["grade", "boards.png", *SCALE, *PRICE, "--json", "1.json", "--sheet", "2.png", "--sheet", "3.pdf"],
    "value": ["value", "m.json", "--boards", "1", *PRICE, "--json", "1.json"],
    "report": ["report", "m.json", "--boards", "1", "--json", "1.json", "--csv", "2.csv", "--html", "3.html",
               "--pdf", "4.pdf"],
    "listing": ["listing", ".", *SCALE, "--json", "1.json", "--sheet", "2.html", "--measurement", "3.json"],
    "market": ["market", ".", *PRICE, "--results", "kept", "--json", "1.json", "--csv", "2.csv", "--html", "3.html"],
    "batch": ["batch", "m.json", "--mass", "90 g", "--json", "1.json"],
    "target": ["target", "--paper", "a4", "--output", "1.pdf", "--json", "2.json"],
    "simulate": ["simulate", "--lots", "10", "--json", "1.json"],
    "log export": ["log", "export", "--output", "1.json"],
}  # fmt: skip


@pytest.fixture
def run(draw: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., int]:
    monkeypatch.chdir(tmp_path)
    for name in ("XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "own"))
    draw("boards.png", [(20, 20, 80, 60)], [(25, 55, 55, 60)])

    def call(*words: str) -> int:
        monkeypatch.setattr(sys, "argv", ["grader", *words])
        with pytest.raises(SystemExit) as left:
            main()
        assert isinstance(left.value.code, int)
        return left.value.code

    assert call("measure", "boards.png", *SCALE, "--json", "m.json") == 0
    assert call("log", "new", "x") == 0
    return call


def outputs_of(words: list[str]) -> list[Path]:
    return [Path(word) for word in words if word[:1].isdecimal() and word[1:2] == "."]


def devices(places: list[Path]) -> None:
    for path in places:
        try:
            os.mknod(path, 0o600 | stat.S_IFCHR, os.makedev(1, 3))  # one that swallows all, as /dev/null
            path.open("wb").close()
        except (AttributeError, OSError) as error:
            pytest.skip(f"no device can be made here: {error}")


@pytest.mark.skipif(os.name != "posix", reason="links and devices of POSIX")
@pytest.mark.parametrize("command", WORDS)
def test_every_output_follows_a_link_and_leaves_a_device_a_device(command: str, run: Callable[..., int]) -> None:
    words = WORDS[command]
    places = outputs_of(words)
    for path in places:
        path.symlink_to(f"real-{path}")
    assert run(*words) == 0
    for path in places:
        assert path.is_symlink()
        assert Path(f"real-{path}").stat().st_size > 50
        path.unlink()
    devices(places)
    assert run(*words) == 0
    assert all(stat.S_ISCHR(path.lstat().st_mode) for path in places)


def test_every_option_that_names_an_output_is_tried_here() -> None:
    """Told by its help, so that a new one is not forgotten; the folder of the demo holds files of its own."""
    tried = {(command.split()[-1], word) for command, words in WORDS.items() for word in words if word[:2] == "--"}
    found = set()
    for name, command in typer.main.get_command(app).commands.items():  # type: ignore[attr-defined]
        for leaf in (getattr(command, "commands", None) or {name: command}).values():
            for option in getattr(leaf, "params", []):
                text = getattr(option, "help", None) or ""
                if any(word in text for word in ("Write", "to write", "Folder for")) and option.opts[0][:2] == "--":
                    found.add((leaf.name, option.opts[0]))
    not_outputs = {("demo", "--output"), ("import", "--write"), ("target", "--how-to"), ("new", "--seller")}
    assert found - tried == not_outputs
    assert len(found) >= 15
