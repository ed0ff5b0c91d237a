"""``python -m grader.benchmark``: everything as tables. ``python -m grader.benchmark PHOTO``: the steps of one photo.

Times are of a warm process where nothing else is said, and set against the photo's own decode in the same process,
the two in turns, so that machines and loads can be compared. The least of several runs counts: on a shared machine
the others tell of the neighbours.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

import cv2

from calibration.files import write_whole
from grader.benchmark.everything import measured_all
from grader.benchmark.report import document, lines
from grader.benchmark.steps import time_measure

THREADS = 2  # as for the figures in the guide


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("photo", nargs="?", type=Path, help="the steps of this photo alone")
    ask.add_argument("--runs", type=int, default=5)
    ask.add_argument("--json", action="store_true", help="of one photo: print the figures as JSON")
    ask.add_argument("--write", type=Path, help="write the tables of everything here, as in docs/speed.md")
    options = ask.parse_args(arguments)
    cv2.setNumThreads(THREADS)
    if options.photo is not None:
        timing = time_measure(options.photo, options.runs)
        sys.stdout.write(json.dumps(asdict(timing)) if options.json else "\n".join(lines(timing)) + "\n")
        return
    with tempfile.TemporaryDirectory() as folder:
        text = document(measured_all(Path(folder), options.runs))
    sys.stdout.write(text)
    if options.write is not None:
        write_whole(options.write, text.encode())


if __name__ == "__main__":
    main()
