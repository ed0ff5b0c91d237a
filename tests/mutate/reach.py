"""Which test reaches which line, and how long it takes: recorded once, so that a change runs few tests.

Recording runs each file of tests in a process of its own and keeps what it saw until the code or that file changes.
"""

from __future__ import annotations

import hashlib
import json
import sys
import threading
import time
import types
from collections import defaultdict
from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import _lru_cache_wrapper
from pathlib import Path
from typing import Any

import pytest

Lines = dict[str, list[int]]  # by file


@dataclass(frozen=True)
class Reach:
    """What one file of tests reaches.

    Attributes:
        seconds: CPU time of each test by its id, while it was recorded: rather more than it takes alone.
        lines: by test and file, those that ran in functions.
        failed: ids of tests that fail without any mutant, or are skipped: they judge nothing.
        loaded: modules of others that were loaded, worth loading once for all mutants.
    """

    seconds: Mapping[str, float]
    lines: Mapping[str, Lines]
    failed: Sequence[str]
    loaded: Sequence[str]


def few_examples(item: pytest.Item, examples: int) -> None:
    """Hypothesis tries few examples, the same each time, and does not shrink what it finds."""
    test = getattr(getattr(item, "obj", None), "__func__", getattr(item, "obj", None))
    known = getattr(test, "_hypothesis_internal_use_settings", None)
    if known is not None:
        from hypothesis import HealthCheck, Phase, settings

        test._hypothesis_internal_use_settings = settings(
            known,
            max_examples=min(examples, known.max_examples),
            derandomize=True,
            database=None,
            deadline=None,
            phases=(Phase.explicit, Phase.generate),
            suppress_health_check=list(HealthCheck),
        )


def forget_caches(files: frozenset[str]) -> None:
    """What a test would find cached by an earlier one it has to reach by itself."""
    for module in list(sys.modules.values()):
        if getattr(module, "__file__", None) in files:
            for found in vars(module).values():
                if isinstance(found, _lru_cache_wrapper):
                    found.cache_clear()


class Recorder:
    """A pytest plugin that notes the lines of some files that each test reaches."""

    def __init__(self, root: Path, modules: Iterable[str], examples: int) -> None:
        self.files = {str(root / m): m for m in modules}
        self.examples = examples
        self.now: set[tuple[str, int]] = set()
        self.of_fixture: dict[str, set[tuple[str, int]]] = defaultdict(set)
        self.lines: dict[str, Lines] = {}
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()

    def _call(self, frame: types.FrameType, event: str, arg: Any) -> Any:
        # module and class bodies run when something imports them, which no one test stands for
        code = frame.f_code
        if code.co_filename not in self.files or not code.co_flags & 0x2:  # CO_NEWLOCALS: a function
            return None
        self.now.add((code.co_filename, frame.f_lineno))
        return self._line

    def _line(self, frame: types.FrameType, event: str, arg: Any) -> Any:
        if event == "line":
            self.now.add((frame.f_code.co_filename, frame.f_lineno))
        return self._line

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        for item in items:
            few_examples(item, self.examples)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Generator[None, Any, Any]:
        forget_caches(frozenset(self.files))
        self.now = set()
        before, start = sys.gettrace(), time.process_time()
        sys.settrace(self._call)
        threading.settrace(self._call)
        try:
            return (yield)
        finally:
            sys.settrace(before)
            threading.settrace(before)  # type: ignore[arg-type]
            self.seconds[item.nodeid] = time.process_time() - start
            fixtures = getattr(item, "fixturenames", ())
            reached = self.now.union(*(self.of_fixture[f] for f in fixtures if f in self.of_fixture))
            by_file: dict[str, set[int]] = defaultdict(set)
            for file, line in reached:
                by_file[self.files[file]].add(line)
            self.lines[item.nodeid] = {f: sorted(n) for f, n in by_file.items()}

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Generator[None, Any, Any]:
        """What a fixture of several tests reaches, each of them reaches."""
        if fixturedef.scope == "function":
            return (yield)
        outside, self.now = self.now, set()
        try:
            return (yield)
        finally:
            self.of_fixture[fixturedef.argname] |= self.now
            self.now |= outside

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.passed:
            self.failed.add(report.nodeid)


def record(root: Path, tests: str, modules: Sequence[str], examples: int) -> Reach:
    """Run one file of tests in this process (which is then good for nothing else)."""
    recorder = Recorder(root, modules, examples)
    code = pytest.main([*PYTEST, str(root / tests)], plugins=[recorder])
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.TESTS_FAILED):
        raise RuntimeError(f"{tests} cannot be run (pytest ended with {code!r}).")
    loaded = sorted(
        name
        for name, module in list(sys.modules.items())
        if getattr(module, "__spec__", None)
        and not _own(root, getattr(module, "__file__", None))
        and not name.startswith(("__", "tests", "conftest", "_pytest", "pytest"))
    )
    return Reach(recorder.seconds, recorder.lines, sorted(recorder.failed), loaded)


def _own(root: Path, file: str | None) -> bool:
    """Whether a module is the project's; a package without a file may be. Libraries may be installed inside it."""
    if file is None:
        return True
    path = Path(file)
    return path.is_relative_to(root) and not path.is_relative_to(sys.prefix)


PYTEST = ("-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning")


def digest(root: Path, tests: str, others: Iterable[Path], examples: int) -> str:
    """Changes with the code, with a file of tests and with what it may share with others."""
    found = hashlib.sha256(f"{examples} {tests}".encode())
    for path in (*sorted(others), root / tests):
        found.update(f"{path.name}\0".encode() + path.read_bytes())
    return found.hexdigest()


def load(path: Path) -> Reach | None:
    if not path.exists():
        return None
    data = json.loads(path.read_text("utf-8"))
    return Reach(data["seconds"], data["lines"], data["failed"], data["loaded"])


def keep(path: Path, reach: Reach) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    # written beside and moved, so that a kill leaves no half of it
    beside = path.with_suffix(".part")
    beside.write_text(json.dumps(reach.__dict__), "utf-8")
    beside.replace(path)
