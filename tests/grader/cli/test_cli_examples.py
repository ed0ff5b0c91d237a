"""The examples in each command's help, run as they stand in a folder that holds what they name."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer
from markdown_it import MarkdownIt

from grader.cli.app import app, main
from grader.correct import Corrections
from grader.guide import guide_pages
from grader.samples import load_demo
from tests.segmenters import default_segmenter

ROOT = Path(__file__).parents[3]
# Elsewhere: the page is started by tests/app; two faces of the same boards are drawn by test_cli_cut.py; trades of
# simulated buyers take minutes; batches need one that was begun; a cluster is started by tests/grader/market;
# questions are answered by test_cli_ask.py, for these boards raise none.
NOT_HERE = (
    "grader page",
    "grader guide",
    "grader cut front.jpg --back",
    "grader simulate --trades",
    "grader log batch",
    "grader market s3",
    "grader measure boards.jpg --ask",
)


def leaves(node: Any, path: tuple[str, ...] = ("grader",)) -> dict[tuple[str, ...], Any]:
    children = getattr(node, "commands", None)
    if children is None:
        return {path: node}
    return {p: leaf for name, child in children.items() for p, leaf in leaves(child, (*path, name)).items()}


LEAVES = leaves(typer.main.get_command(app))
EXAMPLES = [
    line.partition(":")[2].strip()
    for leaf in LEAVES.values()
    for line in leaf.help.splitlines()
    if line.strip().startswith("Example")
]

GUIDE = [
    line
    for page in guide_pages()
    for token in MarkdownIt("commonmark").parse(page.text)
    if token.type == "fence" and not token.info and page.name != "commands"
    for line in token.content.splitlines()
    if line.startswith("grader ")
]
# In the guide: photos and marks of the reader's own; what stays open; a log that goes on from line to line
# (tests/grader/cli/test_cli_log_money.py runs it).
OF_THE_READER = ("listing.jpg", "a.json", "…", "next.jpg", "grader log", "grader page", "s3://")


def run(line: str, monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr(sys, "argv", shlex.split(line))
    with pytest.raises(SystemExit) as left:
        main()
    return left.value.code if isinstance(left.value.code, int) else 0


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory, remembering: Any) -> Path:
    """A folder as somebody at a bench has it: photos, measurements, plans, a log with three yields."""
    folder = tmp_path_factory.mktemp("bench")
    modules, other = (sample.path for sample in load_demo().samples[:2])
    (folder / "shelf").mkdir()
    (folder / "listings" / "attic").mkdir(parents=True)
    shutil.copy(modules, folder / "listings" / "attic" / "a.jpg")
    for name in ("boards.jpg", "shelf.jpg", "pile.jpg", "a.jpg", "shelf/boards.jpg"):
        shutil.copy(modules, folder / name)
    shutil.copy(other, folder / "b.jpg")
    (folder / "boards-corrections.json").write_text(json.dumps(Corrections().as_json()), "utf-8")
    (folder / "listing.txt").write_text("Memory modules, 2.5 kg\nPrice: 28.00 USD\nShipping: 9.50 USD\n", "utf-8")
    (folder / "assay.pdf").write_bytes(b"%PDF-1.7 an invented assay")
    (folder / "yields.csv").write_text("lot,mass,weighed_on\nattic lot,0.02 g,2026-11-20\n", "utf-8")
    with pytest.MonkeyPatch.context() as patch, default_segmenter(remembering):
        patch.chdir(folder)
        patch.setenv("XDG_DATA_HOME", str(folder / "data"))
        for line in (
            "grader measure boards.jpg --json boards.json",
            "grader cut boards.jpg --json plan.json --overlay cuts.png",
            'grader batch boards.json --mass "90 g" --json batch.json',
            'grader log new "attic lot"',
            "grader log new shoebox",
            'grader log add "attic lot" boards.json',
            "grader log add shoebox boards.json",
            *('grader log yield "attic lot" --mass "0.02 g" --date 2026-11-19',) * 3,
            "grader log backup log-copy.db",
        ):
            assert run(line, patch) == 0, line
    return folder


def runs(example: str, world: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    """The exit code of a command in a copy of that folder."""
    bench = tmp_path / "bench"
    shutil.copytree(world, bench)
    if example.startswith('grader log new "attic lot"'):
        shutil.rmtree(bench / "data")  # the lot is there already
    if example.startswith("grader log backup"):
        (bench / "log-copy.db").unlink()
    monkeypatch.chdir(bench)
    monkeypatch.setenv("XDG_DATA_HOME", str(bench / "data"))
    return run(example.replace("--lots 1000", "--lots 20"), monkeypatch)


@pytest.mark.parametrize("line", [line for line in GUIDE if not any(word in line for word in OF_THE_READER)])
@pytest.mark.usefixtures("search_once")
def test_the_guide_s_command_runs(
    line: str, world: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert runs(line, world, tmp_path, monkeypatch) == 0, capsys.readouterr().err


def test_the_guide_has_commands_that_run() -> None:
    assert sum(not any(word in line for word in OF_THE_READER) for line in GUIDE) >= 12


@pytest.mark.parametrize("example", EXAMPLES)
@pytest.mark.usefixtures("search_once")
def test_the_example_runs(
    example: str, world: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if example.startswith(NOT_HERE):
        pytest.skip("run elsewhere")
    code = runs(example, world, tmp_path, monkeypatch)
    said = capsys.readouterr()
    assert code == 0, said.err
    assert "Traceback" not in said.err
    named = [Path(word) for word in shlex.split(example) if Path(word).suffix in {".pdf", ".html", ".png", ".jsonl"}]
    assert all(path.exists() for path in named)


def test_what_is_skipped_is_an_example() -> None:
    assert all(any(example.startswith(start) for example in EXAMPLES) for start in NOT_HERE[:2])


@pytest.mark.parametrize(
    "words",
    ["measure", "value", "report", "grade", "cut", "batch", "simulate", "target", "log list", "log show",
     "log belief", "log compare"],
)  # fmt: skip
def test_commands_that_print_a_result_give_it_as_json(words: str) -> None:
    leaf = LEAVES["grader", *words.split()]
    assert "--json" in {option for parameter in leaf.params for option in parameter.opts}


# --- completion in the shell


@pytest.mark.parametrize(
    ("typed", "offered"),
    [("grader mea", "measure"), ("grader log bel", "belief"), ("grader measure --board", "--board-thickness")],
)
def test_the_shell_completes_commands_and_options(typed: str, offered: str) -> None:
    asked = {"_GRADER_COMPLETE": "complete_bash", "COMP_WORDS": typed, "COMP_CWORD": str(len(typed.split()) - 1)}
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.argv = ['grader']; from grader.cli import main; main()"],
        env={**os.environ, **asked, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert offered in done.stdout.split()
    assert done.stderr == ""
