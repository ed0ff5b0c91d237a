"""What is typed wrong on the command line, and files with odd names, end in advice; never in a traceback."""

import json
import os
import stat
import sys
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

import grader
from grader.cli.app import main
from grader.cli.photos import passed_over, photo_files

ROOT = Path(__file__).parents[3]
LONG = "x" * 300


@pytest.fixture(autouse=True)
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "own"))


def run(*words: str) -> int:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["grader", *words])
        with pytest.raises(SystemExit) as left:
            main()
    assert isinstance(left.value.code, int)
    return left.value.code


@pytest.mark.parametrize(
    ("words", "about", "shown_by"),
    [
        (["value", "a.json", "--boards", "x"], "--boards", "grader value --help"),
        (["value", "--nothing"], "--nothing", "grader value --help"),
        (["value", "--spot"], "--spot", "grader value --help"),
        (["measure"], "photos", "grader measure --help"),
        (["measur"], "measur", "grader --help"),
        (["log", "shwo"], "shwo", "grader log --help"),
        (["log", "batch", "load"], "batch", "grader log batch load --help"),
        (["log", "bought", "x"], "--price", "grader log bought --help"),
        (["target", "--paper", "a3"], "--paper", "grader target --help"),
        (["page", "--port", "0"], "--port", "grader page --help"),
        (["batch", "--vessels", "-1"], "--vessels", "grader batch --help"),
        (["log", "exclude", "first", "--reason", "x"], "number", "grader log exclude --help"),
        (["demo", "extra"], "extra", "grader demo --help"),
        (["log", "yield", "x", "--mass", "1 g", "--fineness-known", "guessed"], "--", "grader log yield --help"),
    ],
)
def test_what_the_parser_refuses_comes_with_advice(
    words: list[str], about: str, shown_by: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*words) == 2
    said = capsys.readouterr()
    lines = said.err.splitlines()
    assert said.out == ""
    assert len(lines) == 2
    assert about.lower() in lines[0].lower()
    assert lines[1].startswith("  → ")
    assert lines[1].endswith(shown_by)


@pytest.mark.parametrize("words", [[], ["log"], ["log", "batch"]])
def test_without_a_command_help_is_shown(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*words) == 2
    said = capsys.readouterr()
    assert "Usage" in said.out + said.err
    assert "→" not in said.err


# --- the version


@pytest.mark.parametrize("option", ["--version", "-V"])
def test_the_version_is_told(capsys: pytest.CaptureFixture[str], option: str) -> None:
    assert run(option) == 0
    assert capsys.readouterr().out == f"grader {grader.__version__}\n"


def test_the_version_stands_in_one_place() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    assert "version" not in project["project"]
    assert project["project"]["dynamic"] == ["version"]
    assert project["tool"]["hatch"]["version"]["path"] == "grader/version.py"
    assert metadata.version("board-gold-grader") == grader.__version__


# --- names that no file can have


@pytest.mark.parametrize(
    "words",
    [
        ["measure", LONG],
        ["measure", f"{LONG}*"],
        ["measure", "p.png", "--overlay", LONG],
        ["measure", "p.png", "--json", LONG],
        ["measure", "p.png", "--corrections", LONG],
        ["measure", "p.png", "--target", LONG],
        ["measure", "p.png", "--calibration", LONG],
        ["cut", "a.png", "--back", LONG],
        ["value", LONG],
        ["value", "m.json", "--assumptions", "y" * 5000],
        ["value", "m.json", "--parts", LONG],
        ["value", "m.json", "--log", LONG, "--lot", "1"],
        ["report", "m.json", "--pdf", LONG],
        ["report", "m.json", "--photos", LONG],
        ["batch", "--mass", "1 g", "--gold", "1 mg", "--plated-area", "1 cm2", "--set", LONG],
        ["batch", "--mass", "1 g", "--gold", "1 mg", "--plated-area", "1 cm2", "--json", LONG],
        ["grade", "p.png", "--thresholds", LONG, "--spot", "85 USD/g", "--spot-date", "today"],
        ["target", "--paper", "a4", "--output", LONG],
        ["target", "--bar-measured", "99 mm", "--calibration", LONG],
        ["simulate", "--lots", "1", "--json", LONG],
        ["demo", "--output", LONG],
        ["log", "export", "--output", LONG],
        ["log", "invent", "--log", LONG],
        ["log", "attach", "1", LONG],
        ["log", "import", LONG],
        ["log", "batch", "new", "x", "--plan", LONG],
        ["log", "new", "x", "--log", LONG],
        ["log", "backup", LONG],
        ["log", "restore", LONG],
    ],
)
def test_a_name_that_is_too_long_is_a_typed_error(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*words) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2, lines
    assert lines[1].startswith("  → ")
    assert "should not have happened" not in lines[0]


def test_a_photo_s_name_in_a_measurement_may_be_any_text(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in (LONG, "a\0b", "\x1b]0;owned\x07", "../..", ""):
        document = {"schema": 1, "photo": name, "sha256": "1", "scale": {"method": "x"}, "model": 1}
        (tmp_path / "m.json").write_text(json.dumps(document))
        assert run("report", "m.json") == 2
        said = capsys.readouterr().err
        assert len(said.splitlines()) == 2
        assert "\x1b" not in said


# --- numbers beyond all bounds


@pytest.mark.parametrize(
    "words",
    [
        ["batch", "--mass", "1e30 kg", "--gold", "60 mg", "--plated-area", "1 cm2"],
        ["batch", "--mass", "470 g", "--gold", "1e30 kg", "--plated-area", "1 cm2"],
        ["log", "bought", "x", "--price", "1e30 USD"],
        ["log", "yield", "x", "--mass", "1e30 kg"],
        ["value", "m.json", "--spot", "1e30 USD/g", "--spot-date", "today"],
        ["value", "m.json", "--asking", "1e30 USD"],
    ],
)
def test_amounts_beyond_all_bounds_are_typed_errors(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    run("log", "new", "x")
    (Path("m.json")).write_text("{}")
    capsys.readouterr()
    assert run(*words) == 2
    assert "should not have happened" not in capsys.readouterr().err


# --- a folder's other files


def test_a_folder_s_files_that_are_passed_over_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    for name in ("a.jpg", "B.PNG", "old.bmp", "anim.gif", "IMG_0042", ".hidden.bmp", "boards.json", "odd\x1b.xcf"):
        (shelf / name).write_bytes(b"x")
    (shelf / "below.gif").mkdir()
    assert [p.name for p in photo_files([shelf])] == ["B.PNG", "a.jpg"]
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert "IMG_0042, anim.gif, odd\N{REPLACEMENT CHARACTER}.xcf, old.bmp." in lines[0]
    assert str(shelf) in lines[0]
    assert not any(name in lines[0] for name in ("hidden", "boards.json", "below", "a.jpg"))


def test_many_files_that_are_passed_over_are_counted(tmp_path: Path) -> None:
    for number in range(100):
        (tmp_path / f"{number}.bmp").write_bytes(b"x")
    (found,) = passed_over([tmp_path])
    assert found.message.endswith("and 80 others.")


def test_files_that_are_named_themselves_are_never_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "IMG_0042"
    path.write_bytes(b"x")
    assert passed_over([path, tmp_path / "none"]) == []
    assert photo_files([path]) == [path]


# --- outputs of the commands


@pytest.mark.skipif(os.name != "posix", reason="links and devices of POSIX")
@pytest.mark.parametrize(
    "words",
    [
        ["target", "--paper", "a4", "--output"],
        ["target", "--how-to", "--output"],
        ["target", "--json"],
        ["target", "--bar-measured", "99.4 mm", "--calibration"],
        ["batch", "--mass", "470 g", "--gold", "60..120 mg", "--plated-area", "42 cm2", "--json"],
        ["simulate", "--lots", "10", "--json"],
        ["log", "export", "--output"],
        ["log", "export", "--format", "csv", "--table", "lots", "--output"],
    ],
)
def test_an_output_given_a_link_leaves_the_link_and_given_a_pipe_leaves_the_pipe(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("calibration.files._READER_S", 0.0)
    assert run("log", "new", "x") == 0
    (tmp_path / "link").symlink_to("real")
    assert run(*words, "link") == 0
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").stat().st_size > 20
    os.mkfifo(tmp_path / "pipe")
    capsys.readouterr()
    if "--calibration" not in words:  # which would be read again, for ever
        assert run(*words, "pipe") == 2
        assert "reads from it" in capsys.readouterr().err
        assert stat.S_ISFIFO((tmp_path / "pipe").lstat().st_mode)


# --- names that look like markup


def test_a_name_that_looks_like_markup_is_shown_as_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = "mine[red]"
    assert run("batch", "--example") == 0
    (tmp_path / f"{name}.toml").write_text(capsys.readouterr().out, "utf-8")
    words = ["batch", "--mass", "470 g", "--gold", "60..120 mg", "--plated-area", "42 cm2", "--figures"]
    assert run(*words, "--set", f"{name}.toml") == 0
    assert f"({name})" in capsys.readouterr().out


def test_a_photo_s_name_that_looks_like_markup_is_told_on_a_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from grader.cli.terminal import Terminal

    monkeypatch.setattr("grader.cli.cut.err", Terminal(stderr=True, force_terminal=True, color_system=None))
    (tmp_path / "a[bold].jpg").write_bytes(b"no photo")
    assert run("cut", "a[bold].jpg") == 2
    assert "1 of 1 a[bold].jpg" in capsys.readouterr().err
