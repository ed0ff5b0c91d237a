"""Cases by number: the same seed and number give the same damage, on any machine."""

from __future__ import annotations

import os
import random
import shutil
import tempfile
import time
import traceback
import warnings
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from calibration.errors import GraderError
from tests.fuzz.kinds import KINDS, prepare

# Far above any case on a busy machine: only what hangs takes longer.
LONGEST_S = 60.0


@dataclass(frozen=True)
class Fall:
    """A case that ended in neither a value nor an error of ours."""

    kind: str
    seed: int
    number: int
    why: str

    def __str__(self) -> str:
        again = f"python -m tests.fuzz --seed {self.seed} --case {self.number}"
        return f"{self.kind}, case {self.number} of seed {self.seed}; again with: {again}\n{self.why}"


@dataclass
class Report:
    """How cases ended: with a value or with an error of ours, by kind; those that did neither; how long they took."""

    ended: Counter[str] = field(default_factory=Counter)
    falls: list[Fall] = field(default_factory=list)
    seconds: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))


def run(seed: int, numbers: Sequence[int], told: Callable[[int], None] = lambda _: None) -> Report:
    """Run cases."""
    report = Report()
    with tempfile.TemporaryDirectory() as made, _error_output() as said:
        prepare(Path(made))
        for number in numbers:
            _case(seed, number, Path(made) / "case", said, report)
            told(number)
    return report


def _case(seed: int, number: int, folder: Path, said: IO[bytes], report: Report) -> None:
    rng = random.Random(f"{seed}:{number}")
    name = rng.choices(list(KINDS), [kind.share for kind in KINDS.values()])[0]
    folder.mkdir()
    said.truncate(0)
    started = time.monotonic()
    why = ""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            KINDS[name].run(rng, folder)
        ended = "value"
    except GraderError as error:
        ended = "error"
        if not (error.code and error.message and error.advice):
            why = f"an error without code, message or advice: {error!r}"
    except Exception:
        ended = "fall"
        why = traceback.format_exc(limit=-8)
    finally:
        shutil.rmtree(folder)
    took = time.monotonic() - started
    if took > LONGEST_S:
        why += f"\nIt took {took:.0f} s."
    said.seek(0)
    if written := said.read():
        why += f"\nWritten to the error output: {written[:500]!r}"
    report.ended[f"{name}: {ended}"] += 1
    report.seconds[name] += took
    if why:
        report.falls.append(Fall(name, seed, number, why))


@contextmanager
def _error_output() -> Iterator[IO[bytes]]:
    """What anybody, a library in C too, writes to the process's error output; it is kept off the terminal."""
    with tempfile.TemporaryFile(buffering=0) as file:
        kept = os.dup(2)
        # Appended to, so that emptying it is enough.
        appended = os.open(f"/dev/fd/{file.fileno()}", os.O_WRONLY | os.O_APPEND)
        try:
            os.dup2(appended, 2)
            yield file
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            os.close(appended)
