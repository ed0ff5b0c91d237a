"""The fit of the claimed range gives back what pictures were drawn from, and says how often it holds."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from grader.coverage.error import centre_of
from grader.coverage.training import fit_range
from grader.coverage.training.fit_range import DEGREES, LOGNORMAL, fit, truths_held


def drawn(count: int, level: float, slope: float) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(4)
    doubt = rng.uniform(0.08, 0.4, count)
    scale = np.exp(level + slope * doubt) / LOGNORMAL
    return doubt, scale * stats.t.rvs(DEGREES, size=count, random_state=rng)


def test_fit_finds_level_and_slope() -> None:
    doubt, residual = drawn(4000, -3.9, 4.5)
    level, slope, median = fit(doubt, residual, np.ones(4000))
    assert median == 0
    assert level == pytest.approx(-3.9, abs=0.1)
    assert slope == pytest.approx(4.5, abs=0.4)
    assert truths_held(doubt, residual, level, slope, 0.0).mean() == pytest.approx(0.9, abs=0.015)


def test_fit_finds_the_median_too_where_it_is_not_known() -> None:
    doubt, residual = drawn(4000, -2.7, 4.0)
    level, slope, median = fit(doubt, residual + 0.06, np.ones(4000), centred=False)
    assert level == pytest.approx(-2.7, abs=0.1)
    assert slope == pytest.approx(4.0, abs=0.4)
    assert median == pytest.approx(0.06, abs=0.01)


def test_pictures_that_count_nothing_change_nothing() -> None:
    doubt, residual = drawn(500, -3.9, 4.5)
    far = np.concatenate([residual, np.full(20, 3.0)])
    counts = np.concatenate([np.ones(500), np.zeros(20)])
    with_far = fit(np.concatenate([doubt, np.full(20, 0.2)]), far, counts)
    assert with_far == pytest.approx(fit(doubt, residual, np.ones(500)), abs=1e-3)


def test_margin_holds_more() -> None:
    doubt, residual = drawn(1000, -3.9, 4.5)
    none, some = (truths_held(doubt, residual, -4.5, 4.5, besides) for besides in (0.0, 0.05))
    assert some[none].all()
    assert some.sum() > none.sum()


def test_command_prints_figures_for_the_data_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    doubt, residual = drawn(60, -3.9, 4.5)
    centre = centre_of("learned-7", 5.0)
    rows = [
        {"kind": "render", "error": float(np.exp(-r) / centre - 1), "px_per_mm": 5.0, "doubt": float(d)}
        for d, r in zip(doubt, residual, strict=True)
    ]
    rows.append({"kind": "edge", "error": None, "px_per_mm": 5.0, "doubt": 0.2})
    (tmp_path / "found.json").write_text(json.dumps(rows), "utf-8")
    monkeypatch.setattr("sys.argv", ["fit_range", str(tmp_path / "found.json"), "--segmenter", "learned-7"])
    fit_range.main()
    said = capsys.readouterr().out
    assert said.startswith("60 pictures\nlevel = ")
    assert "renders held" in said


def test_command_fits_pictures_without_scale_by_themselves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    doubt, residual = drawn(60, -2.7, 4.0)
    rows = [
        {"kind": "pads", "error": float(np.exp(-r - 0.1) - 1), "px_per_mm": None, "doubt": float(d)}
        for d, r in zip(doubt, residual, strict=True)
    ]
    rows += [row | {"error": float(1.5 * (1 + row["error"]) - 1), "contacts": 0.9} for row in rows]
    rows.append({"kind": "pads", "error": 0.5, "px_per_mm": 5.0, "doubt": 0.2})
    (tmp_path / "found.json").write_text(json.dumps(rows), "utf-8")
    words = ["fit_range", str(tmp_path / "found.json"), "--segmenter", "learned-7", "--unscaled"]
    monkeypatch.setattr("sys.argv", words)
    fit_range.main()
    said = capsys.readouterr().out.splitlines()
    for name, centre in (("pads", np.exp(0.1)), ("contacts", np.exp(0.1) / 1.5)):
        at = said.index(f"[learned-7.unscaled.{name}]")
        assert said[at + 1] == "60 pictures"
        assert float(said[at + 2].removeprefix("median = ")) == pytest.approx(centre, abs=0.04)
