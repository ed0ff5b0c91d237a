"""A log in a file or on a server, under a clock that only moves when told."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Server:
    """A PostgreSQL server of our own, as Debian's package postgresql has it, reached through a socket alone.

    Attributes:
        programs: folder of its programs.
        folder: where its data and its socket lie.
    """

    programs: Path
    folder: Path

    @property
    def url(self) -> str:
        return f"postgresql://postgres@/postgres?host={quote(str(self.folder))}"

    def run(self, program: str, *arguments: str) -> None:
        # the server refuses to run as root
        as_other = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        command = [*as_other, str(self.programs / program), "-D", str(self.folder / "data"), *arguments]
        subprocess.run(command, check=True, capture_output=True, cwd=self.folder)

    def start(self) -> None:
        settings = f"-k {self.folder} -c listen_addresses= -c fsync=off"
        self.run("pg_ctl", "-w", "-l", str(self.folder / "log"), "-o", settings, "start")

    def kill(self) -> None:
        """SIGKILL to the server's first process; the others end when they miss it."""
        os.kill(int((self.folder / "data" / "postmaster.pid").read_text().split()[0]), signal.SIGKILL)

    def start_after_kill(self) -> None:
        """Start once the killed server's last process has let go of its memory."""
        for _ in range(50):
            try:
                return self.start()
            except subprocess.CalledProcessError:
                time.sleep(0.1)
        return self.start()


@pytest.fixture(scope="session")
def own_server() -> Iterator[Server]:
    """A running server."""
    pytest.importorskip("psycopg")
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    if not programs:
        missing = "PostgreSQL is not installed; on Debian: apt-get install postgresql"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    # a socket's path may be no longer than some hundred bytes
    made = Server(programs[-1], Path(tempfile.mkdtemp(prefix="pg", dir="/tmp")))
    if os.getuid() == 0:
        shutil.chown(made.folder, "postgres")
    try:
        made.run("initdb", "-A", "trust", "-U", "postgres", "--no-sync")
        made.start()
        yield made
    finally:
        if (made.folder / "data" / "postmaster.pid").exists():
            made.run("pg_ctl", "-w", "-m", "immediate", "stop")
        shutil.rmtree(made.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def server(own_server: Server) -> str:
    """The URL of a running server."""
    return own_server.url
