"""The benchmark times what a user waits for, step by step."""

from __future__ import annotations

import pytest

from grader import benchmark
from grader.samples import samples_folder


def test_steps_add_up_and_each_takes_time(capsys: pytest.CaptureFixture[str]) -> None:
    benchmark.main([str(samples_folder() / "memory-modules.jpg"), "--runs", "1"])
    table = {line[:14].strip(): float(line[14:].split()[0]) for line in capsys.readouterr().out.splitlines()}
    steps = ("load", "scale", "coverage", "regions", "gold")
    assert all(table[step] > 0 for step in steps if step != "gold")
    assert table["measure, all"] == pytest.approx(sum(table[step] for step in steps), abs=3)
    assert table["decode alone"] < table["measure, all"]
    assert 20 < table["peak memory"] < 4000


def test_ratio_is_to_the_decode() -> None:
    timing = benchmark.Timing(0.05, {"load": 0.06, "scale": 0.14}, 300.0)
    assert timing.total_s == pytest.approx(0.2)
    assert "4.0 x" in benchmark.lines(timing)[-2]
