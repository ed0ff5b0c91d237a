"""Texts reach a terminal without steering it, and any terminal can show them."""

import codecs
import io
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.table import Table

from calibration.errors import UsageError
from grader.cli import output
from grader.cli.app import main
from grader.cli.terminal import Terminal, prepare_streams, readable
from grader.valuation import load_assumptions

ROOT = Path(__file__).parents[3]
EVIL = "a\x1b]0;owned\x07b\x9b31mc\u202ed\rlie\x00"


@given(st.text())
def test_nothing_in_a_readable_text_steers_a_terminal(text: str) -> None:
    seen = readable(text)
    assert not any(ord(c) < 32 and c not in "\n\t" for c in seen)
    assert not any(0x7F <= ord(c) < 0xA0 or 0x202A <= ord(c) <= 0x202E or 0x2066 <= ord(c) <= 0x2069 for c in seen)
    assert len(seen) == len(text)
    assert readable(seen) == seen


@given(st.text(st.characters(min_codepoint=0xA1, exclude_categories=["Cc", "Cs", "Zl", "Zp", "Cf", "Cn", "Co"])))
def test_letters_of_any_script_stay_as_they_are(text: str) -> None:
    assert readable(text) == text


def test_a_terminal_shows_markup_and_no_sign_of_a_text_s_own() -> None:
    file = io.StringIO()
    console = Terminal(file=file, force_terminal=True, color_system="standard", width=60)
    console.print(f"[bold]name[/] {EVIL.replace('[', '')}")
    table = Table()
    table.add_column("x")
    table.add_row(EVIL.replace("[", ""))
    console.print(table)
    console.rule(EVIL.replace("[", ""))
    written = file.getvalue()
    assert "\x1b[1m" in written  # its own
    for bad in ("\x1b]", "\x07", "\x9b", "\u202e", "\x00", "\r"):
        assert bad not in written


@pytest.mark.parametrize("is_terminal", [True, False])
def test_errors_tables_and_data_show_names_without_steering(
    is_terminal: bool, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(output, "out", Terminal(force_terminal=is_terminal, highlight=False, soft_wrap=True))
    output.show_error(UsageError("x", f"There is no {EVIL}.", f"Look for\n{EVIL}."), EVIL)
    output.show_table(("name", ""), [(EVIL, "1")])
    if is_terminal:
        output.write_data(EVIL)
    said = capsys.readouterr()
    for bad in ("\x1b]", "\x07", "\x9b", "\u202e", "\x00"):
        assert bad not in said.out + said.err
    assert said.err.count("\n") == 2  # one line of what is wrong, one of what to do


BATCH = ["batch", "--mass", "500 g", "--gold", "60..120 mg", "--plated-area", "42 cm2"]


@pytest.fixture(autouse=True)
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "own"))


def spoken(words: Sequence[str], encoding: str) -> tuple[str, str]:
    """What a command writes to two streams of an encoding; JSON and other data is UTF-8 there all the same."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="strict") for _ in range(2)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", streams[0])
        patch.setattr(sys, "stderr", streams[1])
        patch.setattr(sys, "argv", ["grader", *words])
        with pytest.raises(SystemExit):
            main()
        for stream in streams:
            stream.flush()
    is_data = "-" in words or "--example" in words
    return tuple(  # type: ignore[return-value]
        stream.buffer.getvalue().decode("utf-8" if is_data else encoding)  # type: ignore[attr-defined]
        for stream in streams
    )


def run(*words: str, stdout: Any = subprocess.PIPE, **told: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-c", "from grader.cli import main; main()", *words],
        env={**os.environ, **told, "PYTHONPATH": str(ROOT)},
        stdout=stdout,
        stderr=subprocess.PIPE,
        timeout=120,
        check=False,
    )


def test_a_western_windows_shows_a_plan_of_a_batch() -> None:
    done = run(*BATCH, PYTHONIOENCODING="cp1252", PYTHONUTF8="0")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"->" in done.stdout


@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_help_and_results_are_shown_in_any_encoding(
    encoding: str, draw: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The streams are such as ``PYTHONIOENCODING`` makes, in this process: many words take no longer than one."""
    photo = draw("łódź → ×.png", [(20, 20, 60, 50)], [(25, 25, 40, 30)])
    for words in (
        ["--help"], ["value", "--help"], ["measure", "--help"], BATCH, [*BATCH, "--json", "-"],
        ["measure", str(photo), "--length", "20 mm", "--from", "100,100", "--to", "200,100", "--json", "m.json"],
        ["value", "m.json", "--boards", "1", "--spot", "85 USD/g", "--spot-date", "today"],
        ["report", "m.json", "--html", "r.html"], ["measure", str(photo), "--no-scale"],
        ["target", "--paper", "a4"], ["log", "new", "łódź → × „µ“"], ["log", "list"], ["log", "show", "nothing ≥ ²"],
        ["value", "boards.json"],
    ):  # fmt: skip
        shown = spoken(words, encoding)
        assert any(shown), words
        assert not any("Traceback" in text or "should not have happened" in text for text in shown), (words, shown)


def test_every_sign_that_this_program_writes_has_a_plainer_one() -> None:
    signs: set[str] = set()
    for folder in ("grader", "calibration"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in {".py", ".toml"}:
                signs |= set(path.read_text("utf-8"))
    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", stream)
        prepare_streams()
    lost = {}
    for sign in signs - {chr(n) for n in range(128)}:
        plain = codecs.encode(sign, "ascii", "grader-plainer").decode()
        if plain == "?":
            lost[sign] = f"U+{ord(sign):04X}"
    assert not set(lost) - set(NOT_SHOWN), lost


# Signs of the tables that say what may be typed, and of the code; the program prints none of them.
NOT_SHOWN = "Π∞⁻₹₺₽₴₩₫₪Δ▀▄█πλσχ"


def test_data_in_a_pipe_is_utf_8_as_the_readers_want_it(tmp_path: Path) -> None:
    example, _ = spoken(["value", "--example"], "cp1252")
    assert "…" in example
    file = tmp_path / "mine.toml"
    file.write_text(example, "utf-8")
    assert load_assumptions(file).currency


@pytest.mark.skipif(os.name != "posix", reason="file names of bytes that are no text")
def test_a_name_of_bytes_that_are_no_text_can_be_shown_and_kept() -> None:
    odd = os.fsdecode(b"odd-\xff.json")
    said = spoken(["target", "--bar-measured", "99.4 mm", "--calibration", odd, "--json", "-"], "utf-8")
    assert json.loads(said[0])["file"] == odd
    assert "odd-\N{REPLACEMENT CHARACTER}.json" in said[1]


def test_a_reader_that_has_seen_enough_ends_it_without_a_word() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as nowhere:
        assert run("value", "--example", stdout=nowhere).stderr == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_an_output_that_is_full_is_told() -> None:
    with Path("/dev/full").open("wb") as full:
        done = run("target", stdout=full)
    assert done.returncode == 2
    assert b"full" in done.stderr
    assert b"Traceback" not in done.stderr
