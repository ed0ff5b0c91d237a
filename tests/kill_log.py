"""Kill the log's commands at random system calls, and judge what is left. Linux only.

    python -m tests.kill_log --kills 200 --seed 1

Every task runs as its command does, in a fork that is killed as it begins or ends a system call drawn at random: of
Python, or of SQLite. Then every log that lies about is judged: is it sound, is all there that was acknowledged, does
the next command find it, or does it start an empty one without a word?
"""

from __future__ import annotations

import argparse
import collections
import json
import os
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

from tests.ptrace import Ended, forked, run_until

Holds = dict[str, set[str]]  # lots by name, purchases by price, yields by mass
PURCHASES, YIELDS = 40, 60
NEW_PURCHASES, NEW_YIELDS = 150, 20  # of the copy: its pages are not those of the log that it takes the place of
NOTHING: Holds = {"lots": set(), "purchases": set(), "yields": set()}


# --- running


def in_fork(work: Callable[[], int], said: Path | None = None) -> int:
    """Exit status of ``work`` in a fork, what it prints in a file; SQLite must not be used on both sides of a fork."""
    child = os.fork()
    if child == 0:
        forked(lambda: _telling(work, said))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _telling(work: Callable[[], int], said: Path | None) -> int:
    if said is not None:
        to = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        os.dup2(to, 1)
        os.dup2(to, 2)
    return work()


def command(*arguments: object) -> Callable[[], int]:
    """``grader log …`` as typed."""

    def work() -> int:
        from grader.cli import main

        sys.argv = ["grader", "log", *map(str, arguments)]
        try:
            main()
        except SystemExit as end:
            return int(end.code or 0)
        return 0

    return work


def write(place: Path, first: int, count: int, told: int) -> int:
    """A busy writer: each price is told after it was acknowledged, and an error by its code."""
    from calibration.errors import LogError
    from grader.log import NewPurchase, checked, open_log

    for price in range(first, first + count):
        try:
            with open_log(place, must_exist=True) as log:
                log.add_purchase(
                    "Shed", checked(NewPurchase, price=price, currency="USD", bought_on=date(2026, 1, 1))
                )
        except LogError as error:
            os.write(told, f"!{error.code}\n".encode())
        else:
            os.write(told, f"{price}\n".encode())
    return 0


def make(place: Path, lots: list[str], first: int, purchases: int = PURCHASES, yields: int = YIELDS) -> int:
    """A log of some size, so that a transaction writes several pages."""
    from grader.log import NewLot, NewPurchase, NewYield, checked, open_log

    with open_log(place) as log:
        for lot in lots:
            log.add_lot(checked(NewLot, name=lot, note="x" * 900))
        day = date(2026, 1, 1)
        for price in range(first, first + purchases):
            log.add_purchase("Shed", checked(NewPurchase, price=price, currency="USD", bought_on=day))
        log.add_yields(
            [
                ("Shed", checked(NewYield, mass_mg=mass, weighed_on=day, note="y" * 400), 1.0)
                for mass in range(first, first + yields)
            ]
        )
    return 0


def make_old(place: Path) -> int:
    """A log of the first version."""
    from grader.log import schema, store_file

    store_file.MIGRATIONS = schema.MIGRATIONS[:1]
    from grader.log import open_log

    open_log(place).close()
    with closing(sqlite3.connect(place)) as c, c:
        now = "2026-01-01T00:00:00.000Z"
        c.execute("INSERT INTO lots (name, seller, note, created_at) VALUES ('Shed', '', '', ?)", (now,))
        c.executemany(
            "INSERT INTO purchases (lot_id, logged_at, price, currency, bought_on) VALUES (1, ?, ?, 'USD', '2026-01-01')",
            [(now, str(price)) for price in range(1, 1 + PURCHASES)],
        )
        c.executemany(
            "INSERT INTO yields (lot_id, logged_at, mass_mg, note, weighed_on) VALUES (1, ?, ?, '', '2026-01-01')",
            [(now, float(mass)) for mass in range(1, 1 + YIELDS)],
        )
    return 0


# --- judging


def look(place: Path) -> dict[str, Any]:
    """What a log holds, read by a process of its own as any program would; ``trouble`` where it is damaged."""
    answer = place.with_name("judge.json")

    def work() -> int:
        found: dict[str, Any] = {"trouble": "", **{k: [] for k in NOTHING}}
        try:
            with closing(sqlite3.connect(place)) as c:
                check = c.execute("PRAGMA integrity_check").fetchall()
                if check != [("ok",)] or c.execute("PRAGMA foreign_key_check").fetchall():
                    found["trouble"] = f"{check[:2]}"
                if c.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'lots'").fetchone()[0]:
                    found["lots"] = [row[0] for row in c.execute("SELECT name FROM lots")]
                    found["purchases"] = [row[0] for row in c.execute("SELECT price FROM purchases")]
                    found["yields"] = [f"{row[0]:g}" for row in c.execute("SELECT mass_mg FROM yields")]
        except sqlite3.Error as error:
            found["trouble"] = str(error)
        answer.write_text(json.dumps(found))
        return 0

    in_fork(work)
    return {k: set(v) if k != "trouble" else v for k, v in json.loads(answer.read_text()).items()}


def holds(lots: list[str], first: int, purchases: int = PURCHASES, yields: int = YIELDS) -> Holds:
    return {
        "lots": set(lots),
        "purchases": {str(n) for n in range(first, first + purchases)},
        "yields": {str(n) for n in range(first, first + yields)},
    }


OLD = holds(["Shed", "Attic", "Cellar"], 1)
NEW = holds(["Shed", "Loft"], 1001, NEW_PURCHASES, NEW_YIELDS)
FIRST = {**OLD, "lots": {"Shed"}}
IMPORTED = {**OLD, "yields": OLD["yields"] | {str(5000 + n) for n in range(150)}}


class Round:
    """A folder with a log, a copy to restore and a file to import; and what was found wrong in it."""

    def __init__(self, folder: Path, templates: Path) -> None:
        self.folder = folder
        self.place = folder / "log.sqlite"
        self.copy = folder / "copy.db"
        self.csv = folder / "yields.csv"
        self.wrong: list[str] = []
        self.acknowledged: set[str] = set()
        self.writer_errors: list[str] = []
        for name in ("log.sqlite", "copy.db", "yields.csv", "first.sqlite"):
            shutil.copyfile(templates / name, folder / name)

    def busy(self, first: int) -> tuple[int, int]:
        """Start a writer that is not traced; its process and where it tells what was acknowledged."""
        heard, told = os.pipe()
        child = os.fork()
        if child == 0:
            forked(lambda: write(self.place, first, 1_000_000, told))
        os.close(told)
        return child, heard

    def hear(self, heard: int) -> None:
        """Take in what a writer, which has ended, told."""
        with os.fdopen(heard, "rb") as pipe:
            for line in pipe.read().decode().split():
                if line.startswith("!"):
                    self.writer_errors.append(line[1:])
                else:
                    self.acknowledged.add(line)

    def kept(self) -> list[Path]:
        """Logs that were set aside whole."""
        return [
            p
            for p in sorted(self.folder.iterdir())
            if p.name.startswith("log.sqlite.") and not p.name.endswith((".unfinished", "-journal"))
        ]

    def judge(self, *allowed: Holds, missing: bool = False) -> None:
        """The log must be one of these with what was acknowledged since; all acknowledged must lie somewhere.

        Args:
            allowed: what the log may hold.
            missing: there may be no log, if the next command says so.
        """
        said = self.folder / "said.txt"
        there = self.place.exists() and self.place.stat().st_size > 0
        code = in_fork(command("list", "--log", self.place), said)
        text = said.read_text()
        if "Traceback" in text:
            self.wrong.append(f"traceback: {text[-300:]}")
        log = look(self.place) if self.place.exists() else {"trouble": "", **NOTHING}
        kept = {p: look(p) for p in self.kept()}
        for p, found in {self.place: log, **kept, self.copy: look(self.copy)}.items():
            if found["trouble"]:
                self.wrong.append(f"damaged: {p.name}: {found['trouble']}")
        if not log["lots"]:
            if not missing:
                self.wrong.append(f"log gone: list said {code}: {text.strip()[-200:]}")
            started = in_fork(command("new", "Shack", "--log", self.place), said)
            if not missing and started == 0:
                self.wrong.append("silent new log")
            if code == 0 and there:
                self.wrong.append("an empty log is listed")
            return
        if code != 0:
            self.wrong.append(f"next command failed ({code}): {text.strip()[-200:]}")
        lots = [state for state in allowed if state["lots"] == log["lots"]]
        if not any(s["purchases"] <= log["purchases"] and s["yields"] == log["yields"] for s in lots):
            self.wrong.append(f"lost or mixed: {sorted(log['lots'])}, {len(log['purchases'])}, {len(log['yields'])}")
        everywhere = set().union(log["purchases"], *(found["purchases"] for found in kept.values()))
        gone = self.acknowledged - everywhere
        if gone:
            self.wrong.append(f"lost: {len(gone)} acknowledged entries")


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
    return lambda: _telling(work, Path(os.devnull))


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


def templates_in(folder: Path) -> Path:
    """The logs that every round begins with."""
    made = folder / "templates"
    made.mkdir()
    assert in_fork(lambda: make(made / "log.sqlite", ["Shed", "Attic", "Cellar"], 1)) == 0
    assert in_fork(lambda: make(made / "copy.db", ["Shed", "Loft"], 1001, NEW_PURCHASES, NEW_YIELDS)) == 0
    assert in_fork(lambda: make_old(made / "first.sqlite")) == 0
    rows = "".join(f"Attic,{5000 + n} mg,2026-02-01,{'w' * 200}\n" for n in range(150))
    (made / "yields.csv").write_text(f"lot,mass,weighed_on,note\n{rows}")
    return made


def main() -> int:
    """Kill, judge, count; the exit status is 1 where anything was damaged, lost or started anew."""
    ask = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    ask.add_argument("--kills", type=int, default=200)
    ask.add_argument("--seed", type=int, default=None)
    ask.add_argument("--tasks", default=",".join(TASKS))
    asked = ask.parse_args()
    seed = random.SystemRandom().randrange(10**6) if asked.seed is None else asked.seed
    print(f"seed {seed}", flush=True)
    chance = random.Random(seed)
    names = asked.tasks.split(",")
    import grader.cli
    import grader.log.copies
    import grader.log.store_postgres

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
        print(f"{name}: {kills[name]} kills among {stops.get(name, 0)} stops")
    kinds = collections.Counter(
        next((k for k in ("damaged", "lost", "silent new log") if k in f), "other") for f in faults
    )
    for fault in faults:
        print(f"  {fault}")
    print(f"errors told to writers: {dict(writer_errors) or 'none'}")
    print(
        f"{sum(kills.values())} kills: {kinds['damaged']} damaged, {kinds['lost']} lost, "
        f"{kinds['silent new log']} silent new logs, {kinds['other']} other faults"
    )
    return 1 if faults or writer_errors else 0


if __name__ == "__main__":
    sys.exit(main())
