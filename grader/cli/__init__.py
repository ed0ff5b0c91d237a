"""The command line: reads files, calls the computation, prints, and sets the exit code."""

from __future__ import annotations

from grader.cli.app import main

__all__ = ["main"]
