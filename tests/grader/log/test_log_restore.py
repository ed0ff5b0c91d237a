"""Backup and restore: what was there is kept, what is put back is whole, and nothing starts anew without a word."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from calibration.errors import LogError
from grader.log import NewLot, NewPurchase, beside, checked, open_log, sound
from grader.log.copies import backup, restore

ROOT = Path(__file__).parents[3]

# A writer with a small cache that dies in mid-transaction: half of it is in the file, the rest in the journal.
DIES = """
import os, signal, sqlite3, sys
c = sqlite3.connect(sys.argv[1], isolation_level=None)
c.execute("PRAGMA cache_size = 5")
c.execute("BEGIN IMMEDIATE")
c.execute("UPDATE lots SET note = note || 'z'")
for n in range(300):
    c.execute("INSERT INTO lots (name, seller, note, created_at) VALUES (?, '', ?, '2026-01-01T00:00:00Z')",
              (f"Half {n}", "n" * 700))
os.kill(os.getpid(), signal.SIGKILL)
"""
TAKES_LOCK = """
import sqlite3, sys
c = sqlite3.connect(sys.argv[1], timeout=0, isolation_level=None)
try:
    c.execute("BEGIN IMMEDIATE")
    print("taken")
except sqlite3.OperationalError:
    print("refused")
"""


def fill(path: Path, name: str, purchases: int) -> None:
    with open_log(path) as log:
        for number in range(5):
            log.add_lot(checked(NewLot, name=f"{name} {number}", note="x" * 900))
        entry = checked(NewPurchase, price=1, currency="USD", bought_on=date(2026, 1, 1))
        for _ in range(purchases):
            log.add_purchase(1, entry)


def lots(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as c:
        assert c.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return [name for (name,) in c.execute("SELECT name FROM lots ORDER BY id")]


OLD, NEW = [f"Old {n}" for n in range(5)], [f"New {n}" for n in range(5)]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a log, and with a copy of another one."""
    folder = tmp_path_factory.mktemp("made")
    fill(folder / "other.sqlite", "New", 60)
    with open_log(folder / "other.sqlite") as log:
        rows = backup(log, folder / "copy.db")
    assert (rows["lots"], rows["purchases"]) == (5, 60)
    fill(folder / "log.sqlite", "Old", 5)
    return folder


@pytest.fixture
def copy(made: Path, path: Path) -> Path:
    """A copy to restore; a log with other lots lies at ``path``."""
    shutil.copyfile(made / "log.sqlite", path)
    return Path(shutil.copyfile(made / "copy.db", path.with_name("copy.db")))


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_the_journal_of_a_killed_writer_goes_back_into_its_own_log(path: Path, copy: Path):
    subprocess.run([sys.executable, "-c", DIES, path], check=False)
    assert path.with_name("log.sqlite-journal").stat().st_size > 0
    done = restore(copy, path)
    assert lots(path) == NEW
    assert done.kept is not None
    assert lots(done.kept) == OLD
    assert (done.kept_trouble, done.rows["purchases"]) == ("", 60)
    assert sorted(p.name for p in path.parent.iterdir()) == ["copy.db", "log.sqlite", "log.sqlite.before-1"]


def test_what_was_there_is_kept_to_the_byte(path: Path, copy: Path):
    before = path.read_bytes()
    first, second = restore(copy, path), restore(copy, path)
    assert first.kept is not None
    assert first.kept.read_bytes() == before
    assert second.kept == path.with_name("log.sqlite.before-2")


def test_a_program_that_has_the_log_open_goes_on_in_the_one_put_back(path: Path, copy: Path):
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("SELECT count(*) FROM lots").fetchone()
        restore(copy, path)
        other.execute("UPDATE lots SET note = 'written after' WHERE id = 1")
    with open_log(path) as log:
        assert [lot.name for lot in log.lots()] == NEW
        assert log.lots()[0].note == "written after"


@pytest.mark.parametrize("lock", ["BEGIN IMMEDIATE", "BEGIN EXCLUSIVE"])
def test_a_log_that_is_kept_locked_stays_as_it_is(path: Path, copy: Path, monkeypatch, lock: str):
    monkeypatch.setattr(sound, "BUSY_TIMEOUT_S", 0.05)
    before = path.read_bytes()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute(lock)
        with pytest.raises(LogError) as caught:
            restore(copy, path)
        other.execute("ROLLBACK")
    assert caught.value.code == "log-busy"
    assert "left as it was" in caught.value.message
    assert path.read_bytes() == before
    assert sorted(p.name for p in path.parent.iterdir()) == ["copy.db", "log.sqlite"]


@pytest.mark.parametrize("garbage", [b"no log at all", bytes(8192), b"SQLite format 3\x00" + bytes(8000)])
def test_what_cannot_be_opened_is_kept_and_replaced(path: Path, copy: Path, garbage: bytes):
    path.write_bytes(garbage)
    path.with_name("log.sqlite-journal").write_bytes(b"its journal")
    done = restore(copy, path)
    assert lots(path) == NEW
    assert done.kept is not None
    assert done.kept.read_bytes() == garbage
    assert done.kept_trouble


def test_a_log_with_a_damaged_page_is_kept_and_said_to_be_damaged(path: Path, copy: Path):
    data = bytearray(path.read_bytes())
    data[4096 * 3 : 4096 * 12] = b"\xa5" * (4096 * 9)
    path.write_bytes(data)
    with pytest.raises(LogError) as caught, open_log(path) as log:
        backup(log, path.with_name("copy-of-damaged.db"))
    assert caught.value.code == "log-damaged"
    assert "Restore" in caught.value.advice
    done = restore(copy, path)
    assert lots(path) == NEW
    assert done.kept is not None
    assert done.kept.read_bytes() == data
    assert done.kept_trouble


def test_another_programs_database_is_not_replaced(path: Path, copy: Path):
    path.unlink()
    with closing(sqlite3.connect(path)) as c:
        c.execute("CREATE TABLE holidays (day TEXT)")
    with pytest.raises(LogError) as caught:
        restore(copy, path)
    assert caught.value.code == "log-not-ours"


def test_logs_that_were_set_aside_are_found_and_no_other_one_is_started(path: Path, copy: Path):
    path.rename(path.with_name("log.sqlite.before-1"))
    shutil.copyfile(copy, path.with_name("log.sqlite.restored"))
    for must_exist in (True, False):
        with pytest.raises(LogError) as caught:
            open_log(path, must_exist=must_exist)
        assert caught.value.code == "log-set-aside"
        assert "log.sqlite.before-1" in caught.value.message
        assert "log.sqlite.restored" in caught.value.message
        assert caught.value.advice.startswith("Restore one")
    path.touch()  # an empty file is no log either
    with pytest.raises(LogError, match="set aside"):
        open_log(path)
    assert restore(path.with_name("log.sqlite.before-1"), path).kept is None
    assert lots(path) == OLD


def test_a_journal_alone_is_told_and_kept(path: Path, copy: Path):
    path.unlink()
    path.with_name("log.sqlite-journal").write_bytes(b"of a log that was moved")
    with pytest.raises(LogError) as caught:
        open_log(path)
    assert caught.value.code == "log-journal-alone"
    restore(copy, path)
    assert lots(path) == NEW
    kept = path.with_name("log.sqlite-journal.before-1")
    assert kept.read_bytes() == b"of a log that was moved"


def test_a_missing_copy_tells_what_lies_beside_the_log(path: Path, copy: Path):
    restore(copy, path)
    with pytest.raises(LogError) as caught:
        restore(path.with_name("none.db"), path)
    assert caught.value.code == "copy-missing"
    assert "log.sqlite.before-1" in caught.value.advice


def test_looking_at_a_log_keeps_the_locks_that_this_process_holds(path: Path, copy: Path):
    """Closing a file drops all of a process's locks on it: howtocorrupt.html, 2.2, read there."""
    with closing(sqlite3.connect(path, isolation_level=None)) as held:
        held.execute("BEGIN IMMEDIATE")
        open_log(path, must_exist=True).close()
        said = subprocess.run([sys.executable, "-c", TAKES_LOCK, path], capture_output=True, text=True, check=True)
        assert said.stdout.split() == ["refused"]


@pytest.fixture
def read_only(tmp_path: Path) -> Iterator[Callable[[Path], None]]:
    """Makes a folder's disk read-only, as root can."""
    mounted: list[Path] = []

    def make(folder: Path) -> None:
        if os.name != "posix" or os.getuid() != 0:
            pytest.skip("needs root to mount")
        for options in (["--bind", str(folder)], ["-o", "remount,ro,bind"]):
            done = subprocess.run(["mount", *options, str(folder)], capture_output=True, check=False)
            if done.returncode:
                pytest.skip("this system lets nobody mount")
            if folder not in mounted:
                mounted.append(folder)

    yield make
    for folder in mounted:
        subprocess.run(["umount", str(folder)], check=True)


def test_a_read_only_disk_is_told(tmp_path: Path, copy: Path, read_only: Callable[[Path], None]):
    folder = tmp_path / "disk"
    folder.mkdir()
    shutil.copyfile(tmp_path / "log.sqlite", folder / "log.sqlite")
    read_only(folder)
    for place in (folder / "log.sqlite", folder / "new.sqlite"):
        with pytest.raises(LogError) as caught:
            restore(copy, place)
        assert caught.value.code in ("log-read-only", "log-failed", "log-copy-failed")
    with open_log(tmp_path / "log.sqlite") as log, pytest.raises(LogError) as caught:
        backup(log, folder / "copy.db")
    assert caught.value.code == "log-copy-failed"
    assert "as it was" in caught.value.message
    assert lots(folder / "log.sqlite") == OLD


@pytest.mark.parametrize(
    ("name", "cause", "code", "word"),
    [
        ("SQLITE_FULL", "database or disk is full", "log-disk-full", "Make room"),
        ("SQLITE_READONLY", "attempt to write a readonly database", "log-read-only", "writable"),
        ("SQLITE_READONLY_DBMOVED", "attempt to write a readonly database", "log-moved", "again"),
        ("SQLITE_CORRUPT_INDEX", "database disk image is malformed", "log-damaged", "Restore"),
        ("SQLITE_BUSY_SNAPSHOT", "database is locked", "log-busy", "Close it"),
    ],
)
def test_what_the_database_says_becomes_advice(name: str, cause: str, code: str, word: str):
    error = sound.error_of(cause, name, Path("log.sqlite"))
    assert error.code == code
    assert word in error.advice


def test_a_file_gets_a_name_only_if_nothing_has_it(tmp_path: Path):
    new, taken = tmp_path / "a.unfinished", tmp_path / "taken"
    new.write_text("new")
    taken.write_text("taken")
    with pytest.raises(FileExistsError):
        beside.put_new(new, taken)
    assert taken.read_text() == "taken"
    beside.put_new(new, tmp_path / "free")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["free", "taken"]


@pytest.mark.skipif(sys.platform != "linux", reason="traces system calls")
def test_kills_at_random_system_calls_lose_nothing(tmp_path: Path):
    """Long runs: python -m tests.kill_log."""
    tasks = "restore-of-hot-journal,restore-beside-writer,backup,import"
    memory = Path("/dev/shm")
    scratch = str(memory if memory.is_dir() else tmp_path)
    done = subprocess.run(
        [sys.executable, "-m", "tests.kill_log", "--kills", "12", "--seed", "5", "--tasks", tasks],
        cwd=ROOT,
        env={**os.environ, "TMPDIR": scratch, "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    if "no ptrace" in done.stderr:
        pytest.skip("this system allows no ptrace")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "12 kills: 0 damaged, 0 lost, 0 silent new logs, 0 other faults" in done.stdout
