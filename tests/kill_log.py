"""Kill the log's commands at random system calls, and judge what is left. Linux only.

    python -m tests.kill_log --kills 200 --seed 1

Every task runs as its command does, in a fork that is killed as it begins or ends a system call drawn at random: of
Python, or of SQLite. Then every log that lies about is judged: is it sound, is all there that was acknowledged, does
the next command find it, or does it start an empty one without a word?
"""

from __future__ import annotations

import argparse
import collections
import importlib
import os
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.log_rounds import (
    FIRST,
    IMPORTED,
    NEW,
    OLD,
    Holds,
    Round,
    command,
    in_fork,
    look,
    telling,
    templates_in,
    write,
)
from tests.ptrace import Ended, forked, run_until

# --- tasks: each gives how its traced run ended


def restore(r: Round, stop: int | None, chance: random.Random) -> Ended:
    end = run_until(_quiet(command("restore", r.copy, "--log", r.place)), stop)
    r.judge(NEW) if end.code == 0 else r.judge(OLD, NEW)
    _restore_again(r, OLD)
    return end


def restore_after_killed_writer(r: Round, stop: int | None, chance: random.Random) -> Ended:
    """Finding of a hard test: just when people restore. The writer dies in a commit; then the restore dies, too."""
    heard, told = os.pipe()
    before = run_until(lambda: write(r.place, 2001, 4, told), chance.randint(400, 1200))
    os.close(told)
    r.hear(heard)
    assert before.killed or before.code == 0
    end = run_until(_quiet(command("restore", r.copy, "--log", r.place)), stop)
    r.judge(OLD, NEW)
    _restore_again(r, OLD)
    return end


def restore_of_hot_journal(r: Round, stop: int | None, chance: random.Random) -> Ended:
    """A writer with a small cache, killed in mid-transaction: its journal must be rolled back into the old file."""
    child = os.fork()
    if child == 0:

        def work() -> int:
            c = sqlite3.connect(r.place, isolation_level=None)
            c.execute("PRAGMA cache_size = 5")
            c.execute("BEGIN IMMEDIATE")
            c.execute("UPDATE lots SET note = note || 'z'")
            if chance.random() < 0.5:
                c.execute("PRAGMA cache_size = 2")
            for n in range(chance.randint(20, 300)):
                c.execute(
                    "INSERT INTO lots (name, seller, note, created_at) VALUES (?, '', ?, '2026-01-01T00:00:00Z')",
                    (f"Half {n}", "n" * 700),
                )
            os.kill(os.getpid(), signal.SIGKILL)
            return 0

        forked(work)
    os.waitpid(child, 0)
    assert r.place.with_name("log.sqlite-journal").stat().st_size > 0
    end = run_until(_quiet(command("restore", r.copy, "--log", r.place)), stop)
    r.judge(OLD, NEW)
    _restore_again(r, OLD)
    return end


def restore_beside_writer(r: Round, stop: int | None, chance: random.Random) -> Ended:
    """A restore is killed while another process writes on, which is then killed, too."""
    child, heard = r.busy(2001)
    end = run_until(_quiet(command("restore", r.copy, "--log", r.place)), stop)
    time.sleep(chance.uniform(0.0, 0.1))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    r.hear(heard)
    r.judge(OLD, NEW)
    return end


def restore_of_garbage(r: Round, stop: int | None, chance: random.Random) -> Ended:
    """What lies there cannot be opened at all."""
    garbage = bytes(100) + r.place.read_bytes()[100:]
    r.place.write_bytes(garbage)
    end = run_until(_quiet(command("restore", r.copy, "--log", r.place)), stop)
    kept = r.kept()
    if r.place.read_bytes() != garbage:
        if not any(p.read_bytes() == garbage for p in kept):
            r.wrong.append("lost: the damaged log was not kept")
        for p in kept:
            p.unlink()
        r.judge(NEW)
    elif in_fork(command("new", "Shack", "--log", r.place), r.folder / "said.txt") == 0:
        r.wrong.append("silent new log")
    return end


def restore_of_nothing(r: Round, stop: int | None, chance: random.Random) -> Ended:
    r.place.unlink()
    end = run_until(_quiet(command("restore", r.copy, "--log", r.place)), stop)
    r.judge(NEW) if end.code == 0 else r.judge(NEW, missing=True)
    return end


def backup(r: Round, stop: int | None, chance: random.Random) -> Ended:
    to = r.folder / "out.db"
    end = run_until(_quiet(command("backup", to, "--log", r.place)), stop)
    if to.exists():
        found = look(to)
        if found["trouble"] or any(found[k] != OLD[k] for k in OLD):
            r.wrong.append(f"damaged: the copy: {found['trouble']}")
    elif end.code == 0:
        r.wrong.append("lost: backup said that it was done")
    r.judge(OLD)
    return end


def import_(r: Round, stop: int | None, chance: random.Random) -> Ended:
    end = run_until(_quiet(command("import", r.csv, "--write", "--log", r.place)), stop)
    r.judge(IMPORTED) if end.code == 0 else r.judge(OLD, IMPORTED)
    return end


def migrate(r: Round, stop: int | None, chance: random.Random) -> Ended:
    shutil.copyfile(r.folder / "first.sqlite", r.place)
    end = run_until(_quiet(command("list", "--log", r.place)), stop)
    r.judge(FIRST)
    for p in r.kept():
        if any(look(p)[k] != FIRST[k] for k in FIRST):
            r.wrong.append(f"damaged: {p.name} is not what was there")
    return end


def writer(r: Round, stop: int | None, chance: random.Random) -> Ended:
    """A writer is killed beside another one that goes on for a while."""
    child, heard = r.busy(3001)
    mine, told = os.pipe()
    end = run_until(lambda: write(r.place, 2001, 4, told), stop)
    os.close(told)
    time.sleep(chance.uniform(0.0, 0.05))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    r.hear(heard)
    r.hear(mine)
    r.judge(OLD)
    return end


def writer_beside_restore(r: Round, stop: int | None, chance: random.Random) -> Ended:
    """A writer is killed while a restore is at work."""
    child = os.fork()
    if child == 0:
        forked(_quiet(command("restore", r.copy, "--log", r.place)))
    heard, told = os.pipe()
    end = run_until(lambda: write(r.place, 2001, 4, told), stop)
    os.close(told)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    r.hear(heard)
    if code != 0:
        r.wrong.append(f"restore failed ({code})")
    r.judge(NEW)
    return end


def _restore_again(r: Round, old: Holds) -> None:
    """Restored to the end, the log is the copy, and what was there and acknowledged lies beside it."""
    if r.wrong:
        return
    if in_fork(command("restore", r.copy, "--log", r.place), r.folder / "said.txt") != 0:
        r.wrong.append(f"restore failed: {(r.folder / 'said.txt').read_text()[-200:]}")
        return
    r.judge(NEW)
    if not any(
        found["lots"] == old["lots"] and r.acknowledged <= found["purchases"] for found in map(look, r.kept())
    ):
        r.wrong.append("lost: the log that was there was not kept")


def _quiet(work: Callable[[], int]) -> Callable[[], int]:
    return lambda: telling(work, Path(os.devnull))


TASKS: dict[str, Callable[[Round, int | None, random.Random], Ended]] = {
    "restore": restore,
    "restore-after-killed-writer": restore_after_killed_writer,
    "restore-of-hot-journal": restore_of_hot_journal,
    "restore-beside-writer": restore_beside_writer,
    "restore-of-garbage": restore_of_garbage,
    "restore-of-nothing": restore_of_nothing,
    "backup": backup,
    "import": import_,
    "migrate": migrate,
    "writer": writer,
    "writer-beside-restore": writer_beside_restore,
}


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Kill, judge, count; the exit status is 1 where anything was damaged, lost or started anew."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    ask.add_argument("--kills", type=int, default=200)
    ask.add_argument("--seed", type=int, default=None)
    ask.add_argument("--tasks", default=",".join(TASKS))
    asked = ask.parse_args()
    seed = random.SystemRandom().randrange(10**6) if asked.seed is None else asked.seed
    say(f"seed {seed}")
    chance = random.Random(seed)
    names = asked.tasks.split(",")
    for module in ("grader.cli", "grader.log.copies", "grader.log.store_postgres"):
        importlib.import_module(module)  # so that kills hit the work, not the start

    kills: collections.Counter[str] = collections.Counter()
    faults: list[str] = []
    stops: dict[str, int] = {}
    writer_errors: collections.Counter[str] = collections.Counter()
    with tempfile.TemporaryDirectory(prefix="kill-log-") as scratch:
        templates = templates_in(Path(scratch))
        turn = 0
        while sum(kills.values()) < asked.kills and turn < 3 * asked.kills + 50:
            name = names[turn % len(names)]
            turn += 1
            stop = chance.randint(1, stops[name]) if name in stops else None  # the first run only counts
            folder = Path(scratch) / f"round-{turn}"
            folder.mkdir()
            r = Round(folder, templates)
            end = TASKS[name](r, stop, chance)
            stops.setdefault(name, end.stops)
            kills[name] += end.killed
            writer_errors.update(r.writer_errors)
            if not end.killed and end.code != 0:
                r.wrong.append(f"the command itself failed ({end.code})")
            faults += [f"{name}, stop {stop} of {stops[name]}: {fault}" for fault in r.wrong]
            shutil.rmtree(folder)
    for name in names:
        say(f"{name}: {kills[name]} kills among {stops.get(name, 0)} stops")
    kinds = collections.Counter(
        next((k for k in ("damaged", "lost", "silent new log") if k in f), "other") for f in faults
    )
    for fault in faults:
        say(f"  {fault}")
    say(f"errors told to writers: {dict(writer_errors) or 'none'}")
    say(
        f"{sum(kills.values())} kills: {kinds['damaged']} damaged, {kinds['lost']} lost, "
        f"{kinds['silent new log']} silent new logs, {kinds['other']} other faults"
    )
    return 1 if faults or writer_errors else 0


if __name__ == "__main__":
    sys.exit(main())
