"""Some hundred damaged inputs of every kind, others each time; the seed is told, so that each can be had again."""

import copy
import os
import random
import secrets
import sys

import pytest

from calibration.errors import DataFileError
from grader.grade import measured_candidates
from grader.measured import measurements_of
from tests.fuzz import kinds, mutate
from tests.fuzz.run import run

CASES = 600
# another run's, to have the same again
SEED = int(os.environ.get("GRADER_FUZZ_SEED", secrets.randbelow(1_000_000)))


@pytest.mark.skipif(os.name != "posix", reason="keeps the error output as POSIX has it")
def test_damaged_inputs_end_in_values_or_in_errors_of_ours(capsys: pytest.CaptureFixture[str]) -> None:
    report = run(SEED, range(CASES))
    with capsys.disabled():
        sys.stdout.write(f"\n{CASES} damaged inputs, seed {SEED}\n")
    assert not report.falls, "\n\n".join(map(str, report.falls))
    # All kinds were tried, and of each some were taken or some were refused.
    assert {key.partition(":")[0] for key in report.ended} == set(kinds.KINDS)
    assert sum(report.ended.values()) == CASES
    assert sum(n for key, n in report.ended.items() if key.endswith("value")) > CASES / 20
    assert sum(n for key, n in report.ended.items() if key.endswith("error")) > CASES / 4


def test_a_fall_is_seen_and_told_with_its_seed_and_number(monkeypatch: pytest.MonkeyPatch) -> None:
    def warns(rng: random.Random, folder: object) -> object:
        import numpy as np

        return np.float64(1e308) * 10

    def prints(rng: random.Random, folder: object) -> object:
        return os.write(2, b"a library's own line")

    for broken, why in ((warns, "RuntimeWarning"), (prints, "a library's own line")):
        monkeypatch.setattr("tests.fuzz.run.KINDS", {"broken": kinds.Kind(1, broken)})
        (fall,) = run(7, [3]).falls
        assert "--seed 7 --case 3" in str(fall)
        assert why in str(fall)


def test_the_same_seed_does_the_same_damage() -> None:
    text, data = "price = 85.5\n[spot]\n" * 20, bytes(range(256)) * 20
    for number in range(200):
        a, b = (random.Random(f"1:{number}") for _ in range(2))
        assert mutate.damaged_text(a, text) == mutate.damaged_text(b, text)
        assert mutate.damaged_bytes(a, data) == mutate.damaged_bytes(b, data)
        assert mutate.damaged_json(a, {"a": [1, {"b": "c"}]}) == mutate.damaged_json(b, {"a": [1, {"b": "c"}]})


@pytest.mark.parametrize("leave_out", ["boards", "gold_terms", "outline_px"])
def test_a_measurement_that_does_not_say_what_is_on_each_board_cannot_be_graded(leave_out: str) -> None:
    """Found by case 2880 of seed 11."""
    document = copy.deepcopy(kinds._document())
    if leave_out == "boards":
        del document["boards"]
        assert measured_candidates(measurements_of([("x", document)])) == []
        return
    del document["boards"][0][leave_out]
    with pytest.raises(DataFileError) as caught:
        measured_candidates(measurements_of([("x", document)]))
    assert caught.value.code == "measurement-invalid"
