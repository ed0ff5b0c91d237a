"""A log in a file or on a server, under a clock that only moves when told."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import quote

import pytest
from sqlalchemy import create_engine

from grader.log import Log, open_log


class Clock:
    """Ticks one second at each look."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.moment += timedelta(seconds=1)
        return self.moment


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


@pytest.fixture
def file_log(path: Path) -> Iterator[Log]:
    """A log in a file."""
    with open_log(path, clock=Clock()) as opened:
        yield opened


@pytest.fixture(params=["file", "server"])
def log(request: pytest.FixtureRequest) -> Iterator[Log]:
    """A log in a file, and one on a PostgreSQL server: every test that takes it runs on both."""
    place = request.getfixturevalue("path" if request.param == "file" else "url")
    with open_log(place, clock=Clock()) as opened:
        yield opened


@pytest.fixture
def url(new_url: Callable[[], str]) -> str:
    """Where on a PostgreSQL server there is room for a log."""
    return new_url()


@pytest.fixture(scope="session")
def new_url(server: str) -> Callable[[], str]:
    """Makes room for one log after another, each in a schema of its own."""
    made: list[str] = []

    def make() -> str:
        name = f"log_{len(made) + 1}"
        made.append(name)
        engine = create_engine(server.replace("postgresql:", "postgresql+psycopg:"))
        with engine.begin() as c:
            c.exec_driver_sql(f"CREATE SCHEMA {name}")
        engine.dispose()
        return f"{server}&options={quote(f'-csearch_path={name}')}"

    return make


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """A PostgreSQL server of our own, as Debian's package postgresql has it, reached through a socket alone."""
    pytest.importorskip("psycopg")
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    if not programs:
        missing = "PostgreSQL is not installed; on Debian: apt-get install postgresql"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    # the server refuses to run as root; a socket's path may be no longer than some hundred bytes
    folder = Path(tempfile.mkdtemp(prefix="pg", dir="/tmp"))
    as_other = []
    if os.getuid() == 0:
        shutil.chown(folder, "postgres")
        as_other = ["runuser", "-u", "postgres", "--"]

    def run(program: str, *arguments: str) -> None:
        command = [*as_other, str(programs[-1] / program), "-D", str(folder / "data"), *arguments]
        subprocess.run(command, check=True, capture_output=True, cwd=folder)

    try:
        run("initdb", "-A", "trust", "-U", "postgres", "--no-sync")
        settings = f"-k {folder} -c listen_addresses= -c fsync=off"
        run("pg_ctl", "-w", "-l", str(folder / "log"), "-o", settings, "start")
        yield f"postgresql://postgres@/postgres?host={quote(str(folder))}"
    finally:
        if (folder / "data" / "postmaster.pid").exists():
            run("pg_ctl", "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)
