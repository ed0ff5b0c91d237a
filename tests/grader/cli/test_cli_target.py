"""``grader target``: writes the PDF, stores and shows the check bar."""

import json
from pathlib import Path

import pypdfium2
import pytest
import typer
from typer.testing import CliRunner

from calibration.errors import GraderError, UnitError, UsageError
from calibration.print_check import load_print_check
from calibration.target import PAPER_MM
from grader.cli.target import target
from grader.places import print_check_path

APP = typer.Typer()
APP.command()(target)


def run(*arguments: str) -> str:
    result = CliRunner().invoke(APP, list(arguments))
    if isinstance(result.exception, GraderError):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_writes_the_pdf(tmp_path: Path, paper: str) -> None:
    run("--paper", paper, "--output", str(tmp_path / "t.pdf"))
    assert (tmp_path / "t.pdf").read_bytes().startswith(b"%PDF-")


def test_names_the_pdf_by_its_paper(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert "target-a4.pdf" in run("--paper", "a4")
    assert [p.name for p in tmp_path.iterdir()] == ["target-a4.pdf"]


@pytest.mark.parametrize(("typed", "mm"), [("99.4 mm", 99.4), ("9.94 cm", 99.4), ("3.913 in", 99.3902)])
def test_stores_the_bar_in_any_unit_of_length(tmp_path: Path, typed: str, mm: float) -> None:
    path = tmp_path / "check.json"
    run("--bar-measured", typed, "--calibration", str(path))
    check = load_print_check(path)
    assert check is not None
    assert check.bar_mm == pytest.approx(mm)
    assert f"was {mm:.2f} mm long" in run("--calibration", str(path))


def test_says_that_no_bar_is_stored(tmp_path: Path) -> None:
    assert "No check bar" in run("--calibration", str(tmp_path / "none.json"))


@pytest.mark.parametrize(("typed", "error"), [("99.4", UnitError), ("99.4 kg", UnitError), ("10 mm", UsageError)])
def test_a_bar_that_cannot_be_is_refused_and_nothing_is_stored(
    tmp_path: Path, typed: str, error: type[UsageError]
) -> None:
    with pytest.raises(error):
        run("--bar-measured", typed, "--calibration", str(tmp_path / "check.json"))
    assert list(tmp_path.iterdir()) == []


def test_output_without_paper_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        run("--output", str(tmp_path / "t.pdf"))


def test_unwritable_output_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError):
        run("--paper", "a4", "--output", str(tmp_path / "missing" / "t.pdf"))


def test_usual_place_is_in_the_users_data_folder() -> None:
    assert print_check_path().name == "print-check.json"
    assert "board-gold-grader" in str(print_check_path())


@pytest.mark.parametrize("paper", [(), ("--paper", "letter")])
def test_the_page_on_photographing_is_written_instead_of_the_target(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, paper: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    run("--how-to", *paper, "--calibration", str(tmp_path / "none.json"))
    assert [p.name for p in tmp_path.iterdir()] == ["how-to-photograph.pdf"]
    page = pypdfium2.PdfDocument("how-to-photograph.pdf")[0]
    assert page.get_width() == pytest.approx(72 / 25.4 * PAPER_MM["letter" if paper else "a4"][0], abs=0.5)


def test_json_of_the_stored_bar_stands_alone(tmp_path: Path) -> None:
    path = tmp_path / "check.json"
    none = json.loads(run("--json", "-", "--calibration", str(path)))
    assert none == {"check_bar_mm": None, "file": str(path)}
    stored = ["--bar-measured", "99.4 mm", "--calibration", str(path), "--json", "-"]
    result = CliRunner().invoke(APP, [*stored, "--paper", "a4", "--output", str(tmp_path / "t.pdf")])
    assert json.loads(result.stdout)["check_bar_mm"] == pytest.approx(99.4)
    assert "Stored" in result.stderr
