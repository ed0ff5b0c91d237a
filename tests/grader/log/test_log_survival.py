"""Several writers at once, and writers that are killed: nothing that was acknowledged is lost."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from grader.log import open_log

# Each acknowledged price is printed after the call has returned.
WRITER = """
import sys
from datetime import date
from calibration.errors import UsageError
from grader.log import NewLot, NewPurchase, checked, open_log

def write(path, first, count, say):
    with open_log(path) as log:
        try:
            log.add_lot(checked(NewLot, name="Shed"))
        except UsageError:
            pass
        for price in range(first, first + count):
            entry = checked(NewPurchase, price=price, currency="USD", bought_on=date(2026, 1, 1))
            log.add_purchase("Shed", entry)
            say(price)
"""
PLAIN = (
    WRITER
    + """
write(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), lambda price: print(price, flush=True))
"""
)
# Forks one writer after another, each killed at a random moment: every third while it opens or creates the log, the
# others some time after their first entry. Only the first process pays for the imports.
KILLED = (
    WRITER
    + """
import os, random, signal, time
import grader.log.store
random.seed(int(sys.argv[2]))
for turn in range(int(sys.argv[3])):
    heard, told = os.pipe()

    def say(price):
        os.write(1, f"{price}\\n".encode())
        os.write(told, b".")

    child = os.fork()
    if child == 0:
        write(sys.argv[1], turn * 1_000_000, 1_000_000, say)
    if turn % 3:
        os.read(heard, 1)
    time.sleep(random.uniform(0.0, 0.05))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    os.close(heard)
    os.close(told)
"""
)
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "OMP_NUM_THREADS": "1"}


def start(program: str, *arguments: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", program, *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=ENVIRONMENT)


def acknowledged(process: subprocess.Popen[str]) -> list[int]:
    printed, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    return [int(line) for line in printed.split()]


def logged(path: Path | str) -> list[int]:
    with open_log(path, must_exist=True) as log:
        prices = [int(purchase.price) for purchase in log.contents().purchases]
    if isinstance(path, Path):
        with closing(sqlite3.connect(path)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    return prices


def test_two_writers_that_also_create_the_log_lose_nothing(path: Path):
    first, second = start(PLAIN, path, 0, 200), start(PLAIN, path, 1000, 200)
    said = acknowledged(first) + acknowledged(second)
    assert said == [*range(200), *range(1000, 1200)]
    assert sorted(logged(path)) == said


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")
@pytest.mark.parametrize("place", ["path", "url"])
def test_killed_writers_lose_nothing_that_was_acknowledged(request: pytest.FixtureRequest, place: str):
    where = request.getfixturevalue(place)
    kills = 100
    said = acknowledged(start(KILLED, where, 7, kills))
    kept = logged(where)
    assert len(said) >= 2 * kills // 3  # not all were killed before their first entry
    assert set(said) <= set(kept)
    assert len(kept) == len(set(kept))
    assert len(kept) - len(said) <= kills  # at most the one entry that each was about to acknowledge
