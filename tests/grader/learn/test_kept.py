"""What was learned is kept: not learned again from the same yields, and never trusted where it does not fit."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from calibration.belief import Batch, WeighedPlating, learn
from calibration.sourced import load_figures
from grader.learn import kept
from grader.learn.kept import kept_or_learned
from grader.lot.assumed import lot_inputs

BATCHES = [
    Batch(str(n), (WeighedPlating("hard_gold", 100.0, "tongue", "Ann"),), 50.0 + n, 0.5, 0.03) for n in range(4)
]


def test_the_second_time_nothing_is_learned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = kept_or_learned(BATCHES, 0, tmp_path)
    monkeypatch.setattr(kept, "learn", None)
    again = kept_or_learned(BATCHES, 0, tmp_path)
    assert again.id == first.id
    np.testing.assert_array_equal(again.draws, first.draws)
    np.testing.assert_array_equal(
        again.thickness("hard_gold", "tongue", "Ann"),
        learn(BATCHES, process=0).thickness("hard_gold", "tongue", "Ann"),
    )


def test_another_yield_or_process_is_learned_anew(tmp_path: Path) -> None:
    ids = {
        kept_or_learned(BATCHES, 0, tmp_path).id,
        kept_or_learned(BATCHES[:3], 0, tmp_path).id,
        kept_or_learned(BATCHES, 1, tmp_path).id,
    }
    assert len(ids) == len(list(tmp_path.glob("*.npy"))) == 3


@pytest.mark.parametrize("content", [b"", b"no numbers", b"\x93NUMPY\x01\x00"])
def test_a_damaged_file_is_learned_anew(tmp_path: Path, content: bytes) -> None:
    first = kept_or_learned(BATCHES, 0, tmp_path)
    (place,) = tmp_path.glob("*.npy")
    place.write_bytes(content)
    np.testing.assert_array_equal(kept_or_learned(BATCHES, 0, tmp_path).draws, first.draws)


def test_draws_of_another_shape_are_not_taken(tmp_path: Path) -> None:
    first = kept_or_learned(BATCHES, 0, tmp_path)
    (place,) = tmp_path.glob("*.npy")
    np.save(place, first.draws[:, :-1])
    np.testing.assert_array_equal(kept_or_learned(BATCHES, 0, tmp_path).draws, first.draws)


def test_a_folder_that_cannot_be_written_costs_nothing_else(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert kept_or_learned(BATCHES[:1], 0, blocked / "beliefs").batches == tuple(BATCHES[:1])


def test_only_the_last_ones_stay(tmp_path: Path) -> None:
    for process in range(10):
        kept_or_learned(BATCHES[:1], process, tmp_path)
    assert len(list(tmp_path.glob("*.npy"))) == 8


def test_two_thousand_yields_take_five_seconds() -> None:
    rng = np.random.default_rng(1)
    thickness = np.exp(rng.normal(-0.5, 0.5, 12))
    batches = []
    for n in range(2000):
        part, per_um = int(rng.integers(12)), float(np.exp(rng.normal(4, 1)))
        plating = WeighedPlating("hard_gold", per_um, f"part {part}", f"seller {rng.integers(5)}")
        shown = per_um * float(thickness[part] * np.exp(0.12 * rng.standard_t(4)))
        batches.append(Batch(str(n), (plating,), shown, 1.0, 0.06))
    # the processor's time where others keep it busy, the clock's where several cores work together
    began = time.process_time(), time.perf_counter()
    belief = learn(batches)
    assert min(time.process_time() - began[0], time.perf_counter() - began[1]) < 5.0
    # thickness × recovery: what is known well is their product, for parts beside each other
    found = [np.median(belief.thickness("hard_gold", f"part {n}", "seller 0")) for n in range(12)]
    ratios = np.log(found) - np.log(thickness)
    assert np.std(ratios) < 0.02


def test_what_sellers_leave_out_is_held_alike_before_and_in_the_belief() -> None:
    held = lot_inputs()["picking:seller"].distribution.parameters
    assert tuple(load_figures("belief")[f"picked_{at}"].value for at in ("low", "mode", "high")) == held
