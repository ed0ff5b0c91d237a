"""Runs tests against one mutant, in a process of its own that loads the changed module from memory.

No file is ever changed. The process is forked from one that has loaded the libraries of others alone.
"""

from __future__ import annotations

import ast
import importlib.util
import math
import os
import resource
import signal
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.machinery import ModuleSpec, SourceFileLoader
from pathlib import Path
from types import CodeType
from typing import Any, Literal

import pytest

from tests.mutate.reach import PYTEST, few_examples

Verdict = Literal["killed", "survived", "timeout", "unjudged", "unreached"]

# The limit is one of CPU time, which means the same on a busy machine. A change that only waits uses none; it ends,
# unjudged, after so many times the limit.
_WALL = 6.0
_MEMORY_BYTES = 16 << 30
_NOT_LOADED = 71


@dataclass(frozen=True)
class Judged:
    """What became of a mutant; ``by`` is the test that noticed it, or empty."""

    verdict: Verdict
    by: str = ""


class _FromMemory(SourceFileLoader):
    def __init__(self, name: str, path: str, code: CodeType) -> None:
        super().__init__(name, path)
        self.code = code

    def get_code(self, fullname: str) -> CodeType:
        return self.code


class Instead:
    """Finds one module in memory."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self.name, self.path = name, str(path)
        self.code = compile(ast.fix_missing_locations(tree), self.path, "exec")
        self.used = False

    def find_spec(self, fullname: str, path: Any = None, target: Any = None) -> ModuleSpec | None:
        if fullname != self.name:
            return None
        self.used = True
        loader = _FromMemory(fullname, self.path, self.code)
        return importlib.util.spec_from_file_location(fullname, self.path, loader=loader)


class _Chosen:
    """A pytest plugin: these tests alone, in this order."""

    def __init__(self, ids: Sequence[str], examples: int, say: Callable[[str], None]) -> None:
        self.order = {test: n for n, test in enumerate(ids)}
        self.examples, self.say = examples, say

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted((i for i in items if i.nodeid in self.order), key=lambda i: self.order[i.nodeid])
        for item in items:
            few_examples(item, self.examples)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.say(report.nodeid)


def module_name(path: str) -> str:
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def judge(root: Path, path: str, tree: ast.Module, ids: Sequence[str], seconds: float, examples: int) -> Judged:
    """Run tests against a changed module.

    Args:
        root: of the project; the tests run there.
        path: of the module, from the root.
        tree: of the changed module.
        ids: tests, in the order in which they are run; the first that fails ends it.
        seconds: of CPU time after which it is stuck: far more than the tests take without the change.
        examples: at most so many for each property.
    """
    if not ids:
        return Judged("unreached")
    try:
        instead = Instead(module_name(path), root / path, tree)
    except (SyntaxError, ValueError):
        return Judged("killed", "compile")

    def work(say: Callable[[str], None]) -> int:
        soft = math.ceil(seconds)
        resource.setrlimit(resource.RLIMIT_CPU, (soft, soft + 5))
        resource.setrlimit(resource.RLIMIT_DATA, (_MEMORY_BYTES, _MEMORY_BYTES))
        signal.signal(signal.SIGXCPU, signal.SIG_DFL)
        sys.meta_path.insert(0, instead)
        files = list(dict.fromkeys(i.partition("::")[0] for i in ids))
        code = int(pytest.main([*PYTEST, "-x", *files], plugins=[_Chosen(ids, examples, say)]))
        return code if instead.used else _NOT_LOADED

    status, said = in_a_process(root, work, seconds * _WALL)
    if os.WIFSIGNALED(status):
        return {
            signal.SIGXCPU: Judged("timeout"),
            signal.SIGKILL: Judged("unjudged"),
        }.get(os.WTERMSIG(status), Judged("killed", "crash"))
    match os.WEXITSTATUS(status):
        case code if code == _NOT_LOADED:
            raise RuntimeError(f"The tests that should reach {path} ran without loading it.")
        case pytest.ExitCode.OK:
            return Judged("survived")
        case pytest.ExitCode.TESTS_FAILED:
            return Judged("killed", said.partition("\n")[0])
        # the files were found without the change: now they, or what they share, cannot be loaded
        case pytest.ExitCode.INTERRUPTED | pytest.ExitCode.USAGE_ERROR:
            return Judged("killed", "import")
    return Judged("unjudged")


def in_a_process(root: Path, work: Callable[[Callable[[str], None]], int], seconds: float) -> tuple[int, str]:
    """Work in a forked process: its wait status, and what it said. It is killed after so many seconds."""
    reading, writing = os.pipe()
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        code = 70
        try:
            os.setpgid(0, 0)
            os.close(reading)
            os.chdir(root)
            nowhere = os.open(os.devnull, os.O_RDWR)
            for fd in (0, 1, 2):
                os.dup2(nowhere, fd)
            code = work(lambda text: _write(writing, text + "\n"))
        except SystemExit:
            code = int(pytest.ExitCode.TESTS_FAILED)
        finally:
            os._exit(code)
    os.close(writing)
    try:
        status = _wait(child, seconds)
    finally:
        with suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
    with os.fdopen(reading, encoding="utf-8", errors="replace") as said:
        return status, said.read()


def _write(fd: int, text: str) -> None:
    os.write(fd, text.encode("utf-8", "replace")[:4000])


def _wait(child: int, seconds: float) -> int:
    end, pause = time.monotonic() + seconds, 0.005
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return status
        if time.monotonic() > end:
            os.kill(child, signal.SIGKILL)
            return os.waitpid(child, 0)[1]
        time.sleep(pause)
        pause = min(pause * 1.2, 0.1)
