"""How long each step of a measurement takes: ``python -m grader.benchmark [PHOTO] [--runs 5]``.

Times are of a warm process and set against the photo's own decode, so that machines can be compared. Without a
photo, a sample is enlarged to 12 megapixels, with fresh noise: as much work as a phone's photo, though not as sharp.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from grader.photo import load_photo
from grader.pipeline import Step, measure
from grader.samples import samples_folder

_LARGE_PX = (4000, 3000)
_NOISE_CODES = 4.0
_QUALITY = 92
_SAMPLE = "memory-modules.jpg"


@dataclass(frozen=True)
class Timing:
    """Medians over the runs.

    Attributes:
        decode_s: ``cv2.imdecode`` of the same file.
        steps_s: load and each step of ``measure`` by name, seconds.
        peak_mb: largest memory of the process so far, megabytes.
    """

    decode_s: float
    steps_s: dict[str, float]
    peak_mb: float

    @property
    def total_s(self) -> float:
        """From file to figures."""
        return sum(self.steps_s.values())


def time_measure(path: Path, runs: int) -> Timing:
    """Measures one photo ``runs`` times after one that warms up.

    Raises:
        PhotoError: the file is not a photo.
    """
    data = np.frombuffer(path.read_bytes(), np.uint8)
    decode = statistics.median(_seconds_to_decode(data) for _ in range(max(runs, 5)))
    _one_run(path)
    each = [_one_run(path) for _ in range(runs)]
    steps = {name: statistics.median(run[name] for run in each) for name in each[0]}
    return Timing(decode, steps, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def _seconds_to_decode(data: np.ndarray) -> float:
    start = time.perf_counter()
    cv2.imdecode(data, cv2.IMREAD_COLOR)
    return time.perf_counter() - start


def _one_run(path: Path) -> dict[str, float]:
    marks: list[tuple[str, float]] = [("load", time.perf_counter())]

    def mark(step: Step) -> None:
        marks.append((step, time.perf_counter()))

    measure(load_photo(path), progress=mark)
    ends = [at for _, at in marks[1:]] + [time.perf_counter()]
    return {name: end - start for (name, start), end in zip(marks, ends, strict=True)}


def _large_sample(folder: Path) -> Path:
    small = cv2.imread(str(samples_folder() / _SAMPLE))
    large = cv2.resize(small, _LARGE_PX, interpolation=cv2.INTER_CUBIC)
    noise = np.empty(large.shape, np.int16)  # as small as can be: the peak of memory is the measurement's, not ours
    cv2.setRNGSeed(0)
    cv2.randn(noise, 0, _NOISE_CODES)
    path = folder / "large.jpg"
    cv2.imwrite(str(path), cv2.add(large, noise, dtype=cv2.CV_8U), [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return path


def lines(timing: Timing) -> list[str]:
    """The table: a line a step, in milliseconds and times the decode."""
    rows = [("decode alone", timing.decode_s), *timing.steps_s.items(), ("measure, all", timing.total_s)]
    table = [f"{name:<14}{1e3 * s:9.0f} ms {s / timing.decode_s:7.1f} x" for name, s in rows]
    return [*table, f"{'peak memory':<14}{timing.peak_mb:9.0f} MB"]


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("photo", nargs="?", type=Path)
    ask.add_argument("--runs", type=int, default=5)
    options = ask.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        photo = options.photo if options.photo is not None else _large_sample(Path(folder))
        timing = time_measure(photo, options.runs)
    sys.stdout.write("\n".join(lines(timing)) + "\n")


if __name__ == "__main__":
    main()
