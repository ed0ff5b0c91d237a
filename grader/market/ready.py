"""How a process makes ready to measure many pictures."""

from __future__ import annotations

import ctypes
import functools
import signal
from contextlib import suppress
from typing import TYPE_CHECKING

import cv2

from grader.coverage.choose import segmenter_named

if TYPE_CHECKING:
    from distributed import Worker

# of glibc's malloc.h, and where its own rule ends for a process that works on pictures
_TRIM_THRESHOLD, _TRIM_BYTES = -1, 64 * 2**20
_MMAP_THRESHOLD, _MMAP_BYTES = -3, 32 * 2**20


@functools.cache
def make_ready(threads: int = 0) -> None:
    """Set up threads and memory, and load the network with its weights: once in a process.

    Args:
        threads: threads of OpenCV and the network; 0 for a process of its own, which stays as it is.
    """
    if threads:
        cv2.setNumThreads(threads)
        _keep_freed_memory()
    segmenter_named()


def _keep_freed_memory() -> None:
    """Let a Dask worker keep the memory of one picture for the next.

    Dask starts workers with a low ``MALLOC_TRIM_THRESHOLD_``, which also keeps glibc from raising the size from which
    it asks the system for each array by itself. Every array is then new pages that the system has to clear: a quarter
    more processor time for each picture, and five times the page faults.
    """
    with suppress(OSError, AttributeError, TypeError):  # only glibc has this function
        glibc = ctypes.CDLL(None)
        glibc.mallopt(_MMAP_THRESHOLD, _MMAP_BYTES)
        glibc.mallopt(_TRIM_THRESHOLD, _TRIM_BYTES)


def dask_setup(_worker: Worker) -> None:
    """What Dask calls in each worker of a local cluster before it takes work (a preload of Dask).

    Ctrl-C reaches every process of a terminal: only the one that was called ends the others.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    make_ready(1)
