"""Logs to be damaged, what each must hold, and the judge of what is left of them."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

from tests.ptrace import forked

Holds = dict[str, set[str]]  # lots by name, purchases by price, yields by mass
PURCHASES, YIELDS = 40, 60
NEW_PURCHASES, NEW_YIELDS = 150, 20  # of the copy: its pages are not those of the log that it takes the place of
NOTHING: Holds = {"lots": set(), "purchases": set(), "yields": set()}


def in_fork(work: Callable[[], int], said: Path | None = None) -> int:
    """Exit status of ``work`` in a fork, what it prints in a file; SQLite must not cross a fork."""
    child = os.fork()
    if child == 0:
        forked(lambda: telling(work, said))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def telling(work: Callable[[], int], said: Path | None) -> int:
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
    from grader.log import schema_sqlite, store_file

    store_file.MIGRATIONS = schema_sqlite.MIGRATIONS[:1]
    from grader.log import open_log

    open_log(place).close()
    with closing(sqlite3.connect(place)) as c, c:
        now = "2026-01-01T00:00:00.000Z"
        c.execute("INSERT INTO lots (name, seller, note, created_at) VALUES ('Shed', '', '', ?)", (now,))
        c.executemany(
            "INSERT INTO purchases (lot_id, logged_at, price, currency, bought_on)"
            " VALUES (1, ?, ?, 'USD', '2026-01-01')",
            [(now, str(price)) for price in range(1, 1 + PURCHASES)],
        )
        c.executemany(
            "INSERT INTO yields (lot_id, logged_at, mass_mg, note, weighed_on) VALUES (1, ?, ?, '', '2026-01-01')",
            [(now, float(mass)) for mass in range(1, 1 + YIELDS)],
        )
    return 0


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
