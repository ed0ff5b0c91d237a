"""Commands timed as whole processes, as the shell sees them: start, imports, work, end."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class CommandTimes:
    """Least times of a command over some runs.

    Attributes:
        wall_s: from start to end.
        cpu_s: processor time, user and system.
    """

    wall_s: float
    cpu_s: float


def time_command(arguments: Sequence[str], runs: int) -> CommandTimes:
    """Time ``python -m grader …`` as its own process, after one run that writes Python's byte code.

    Raises:
        subprocess.CalledProcessError: if the command failed.
    """
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    timed = [_once(arguments, environment) for _ in range(runs + 1)][1:]
    return CommandTimes(min(wall for wall, _ in timed), min(cpu for _, cpu in timed))


def _once(arguments: Sequence[str], environment: dict[str, str]) -> tuple[float, float]:
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    subprocess.run(  # noqa: S603 - our own interpreter and module
        [sys.executable, "-m", "grader", *arguments], check=True, capture_output=True, env=environment
    )
    wall = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
