"""The benchmark times what a user waits for, step by step; and what they wait for has not doubled."""

from __future__ import annotations

from pathlib import Path

import cv2
import pytest

from grader.benchmark import __main__ as benchmark
from grader.benchmark.photos import enlarged
from grader.benchmark.processes import time_command
from grader.benchmark.report import lines
from grader.benchmark.steps import Timing, time_measure
from grader.samples import samples_folder

# Twice the largest of docs/speed.md, in processor time, which other programs on the machine hardly change.
MOST_TIMES_DECODE = 50.0


def test_steps_add_up_and_each_takes_time(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark.main([str(samples_folder() / "memory-modules.jpg"), "--runs", "1"])
    table = {line[:14].strip(): float(line[14:].split()[0]) for line in capsys.readouterr().out.splitlines()}
    steps = ("load", "scale", "coverage", "regions", "gold")
    assert all(table[step] > 0 for step in steps if step != "gold")
    assert table["measure, all"] == pytest.approx(sum(table[step] for step in steps), abs=3)
    assert table["decode alone"] < table["measure, all"]
    assert 20 < table["peak memory"] < 4000


def test_ratio_is_to_the_decode() -> None:
    timing = Timing(0.05, {"load": 0.06, "scale": 0.14}, 0.3, 0.05, 300.0)
    assert timing.total_s == pytest.approx(0.2)
    assert timing.ratio == pytest.approx(4)
    assert "4.0 x" in lines(timing)[-2]


def test_a_photo_takes_less_than_twice_what_the_guide_says(tmp_path: Path) -> None:
    threads = cv2.getNumThreads()
    cv2.setNumThreads(benchmark.THREADS)
    try:
        timing = time_measure(enlarged("breakout-pads", 12, tmp_path), 2)
    finally:
        cv2.setNumThreads(threads)
    assert timing.cpu_s / timing.decode_cpu_s < MOST_TIMES_DECODE


def test_a_command_is_timed_as_a_process() -> None:
    told = time_command(["--version"], 1)
    assert 0 < told.cpu_s < 5 * told.wall_s
