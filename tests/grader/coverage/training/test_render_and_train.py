"""Rendering and training in one go: every scene once, training only on what was rendered, and its own exit code."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from grader.coverage.training import render_and_train
from grader.coverage.training.render_and_train import main, render_commands, run, train_command


def script(text: str) -> list[str]:
    return [sys.executable, "-c", text]


def test_each_process_has_its_part() -> None:
    commands = render_commands(Path("out"), seed=7, minutes=1.5, processes=3, scenes=10)
    assert [c[c.index("--part") + 1] for c in commands] == ["1/3", "2/3", "3/3"]
    assert {c[c.index("--seed") + 1] for c in commands} == {"7"}
    assert {c[c.index("--minutes") + 1] for c in commands} == {"1.5"}


def test_training_begins_when_all_have_rendered(tmp_path: Path) -> None:
    slow = [
        script(f"import time, pathlib; time.sleep({wait}); pathlib.Path({str(tmp_path)!r}, '{wait}.jpg').touch()")
        for wait in (0, 0.4)
    ]
    count = script(f"import pathlib, sys; sys.exit(10 + len(list(pathlib.Path({str(tmp_path)!r}).iterdir())))")
    assert run(slow, count, tmp_path) == 12


def test_a_scene_that_cannot_be_drawn_does_not_keep_the_others_from_training(tmp_path: Path) -> None:
    one = script(f"import pathlib; pathlib.Path({str(tmp_path)!r}, 'one.jpg').touch(); raise SystemExit(1)")
    assert run([one, one], script("raise SystemExit(5)"), tmp_path) == 5


def test_without_any_picture_nothing_is_trained(tmp_path: Path) -> None:
    assert run([script("")] * 2, script("raise SystemExit(5)"), tmp_path / "images") == 1


def test_what_follows_two_dashes_goes_to_training(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    monkeypatch.setattr(render_and_train, "run", lambda renders, train, _: seen.append((renders, train)) or 0)
    monkeypatch.setattr(
        sys, "argv", ["x", "OUT", "PHOTOS", "--seed", "9", "--processes", "2", "--", "--rate", "6e-4"]
    )
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0
    [(renders, train)] = seen
    assert len(renders) == 2
    assert train == train_command(Path("OUT"), Path("OUT/renders"), [Path("PHOTOS")], ["--rate", "6e-4"])
    assert train[-2:] == ["--rate", "6e-4"]
