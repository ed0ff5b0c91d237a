"""The stored check bar."""

import json
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import DataFileError, UsageError
from calibration.print_check import PrintCheck, load_print_check, save_print_check


def test_stored_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "made" / "print-check.json"
    assert load_print_check(path) is None
    save_print_check(PrintCheck(99.4), path)
    assert load_print_check(path) == PrintCheck(99.4)
    save_print_check(PrintCheck(98.75), path)
    assert load_print_check(path) == PrintCheck(98.75)
    assert [p.name for p in path.parent.iterdir()] == ["print-check.json"]


def test_print_factor_holds_the_rules_uncertainty() -> None:
    factor = PrintCheck(99.4).print_factor()
    draws = factor.sample(np.random.default_rng(1), 50_000)
    assert np.median(draws) == pytest.approx(0.994, abs=1e-4)
    # 0.15 mm of reading and 0.05 mm of the rule over 100 mm
    assert np.std(draws) == pytest.approx(0.00158, rel=0.02)


@pytest.mark.parametrize("bar", [0.0, -99.4, 9.94, 994.0, float("nan"), float("inf")])
def test_a_length_that_the_bar_cannot_have_is_refused(bar: float) -> None:
    with pytest.raises(UsageError):
        PrintCheck(bar)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"bar_mm": "99"}', '{"bar_mm": true}', '{"bar_mm": 5}', '{"bar'])
def test_a_damaged_file_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "print-check.json"
    path.write_text(text)
    with pytest.raises(DataFileError):
        load_print_check(path)


def test_a_folder_in_its_place_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DataFileError):
        load_print_check(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError):
        save_print_check(PrintCheck(99.0), tmp_path / "file" / "print-check.json")


def test_file_is_plain_json(tmp_path: Path) -> None:
    save_print_check(PrintCheck(99.4), tmp_path / "p.json")
    assert json.loads((tmp_path / "p.json").read_text())["bar_mm"] == 99.4
