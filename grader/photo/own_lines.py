"""Keep a C library's own lines off the terminal: our error already reports a damaged file."""

from __future__ import annotations

import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ERROR_OUTPUT = 2
_one_at_a_time = threading.Lock()


@contextmanager
def lines_held_back() -> Iterator[None]:
    """Hold back the process's error output; it is written at the end, unless an error is raised meanwhile.

    Libraries in C write to the file descriptor itself, past Python. All threads share this descriptor, so their lines
    are held back too: keep the work done inside short.
    """
    with _one_at_a_time, tempfile.TemporaryFile() as held:
        try:
            kept = os.dup(_ERROR_OUTPUT)
        except OSError:  # there is no error output
            yield
            return
        try:
            _flush()
            os.dup2(held.fileno(), _ERROR_OUTPUT)
            try:
                yield
            finally:
                _flush()
                os.dup2(kept, _ERROR_OUTPUT)
            held.seek(0)
            os.write(_ERROR_OUTPUT, held.read())
        finally:
            os.close(kept)


def _flush() -> None:
    if sys.stderr is not None:
        sys.stderr.flush()
