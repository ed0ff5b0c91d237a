"""A worker that Dask starts keeps the memory of one picture for the next."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

_ARRAYS = """
import resource
import numpy as np
from grader.market import ready
if {ready}:
    ready._keep_freed_memory()

def work():
    for _ in range(10):
        _ = [np.ones(1_000_000, np.uint8) for _ in range(30)]

work()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
work()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="glibc's memory")
def test_freed_memory_is_used_again_whatever_dask_sets() -> None:
    def faults(*, ready: bool) -> int:
        told = subprocess.run(
            [sys.executable, "-c", _ARRAYS.format(ready=ready)],
            env=os.environ | {"MALLOC_TRIM_THRESHOLD_": "65536"},
            capture_output=True,
            check=True,
            text=True,
        )
        return int(told.stdout)

    pages = 300 * 1_000_000 // 4096
    assert faults(ready=False) > pages / 2  # as Dask starts it: each array is new pages
    assert faults(ready=True) < pages / 20
