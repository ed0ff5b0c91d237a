"""The command line: reads files, calls the computation, prints, and sets the exit code."""

from __future__ import annotations

import os


def main() -> None:
    """Run the command line."""
    # before NumPy loads: the matrices here are small, and threads that wait for each other slow a busy machine down
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from grader.cli.app import main as run

    run()


__all__ = ["main"]
