"""Path of one photo from file to figures, timed step by step in a warm process."""

from __future__ import annotations

import resource
import statistics
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from grader.photo import load_photo
from grader.pipeline import PipelineStep, measure

_DECODES = 4  # before each run


@dataclass(frozen=True)
class Timing:
    """Times over the runs, in seconds: the least, but of decodes the median.

    Attributes:
        decode_s: OpenCV's decode of the same file; where it cannot read the format, our own load.
        steps_s: load and each step of ``measure``, by name.
        cpu_s: processor time of all threads, all steps together.
        decode_cpu_s: processor time of the decode.
        peak_mb: largest memory of the process so far, megabytes.
    """

    decode_s: float
    steps_s: dict[str, float]
    cpu_s: float
    decode_cpu_s: float
    peak_mb: float

    @property
    def total_s(self) -> float:
        """Time from file to figures."""
        return sum(self.steps_s.values())

    @property
    def ratio(self) -> float:
        """Time from file to figures, in multiples of the decode."""
        return self.total_s / self.decode_s


ClockReading = tuple[float, float]  # wall clock, processor


def time_measure(path: Path, runs: int) -> Timing:
    """Time the measurement of one photo ``runs`` times after a warm-up run, with some decodes before each.

    The least of the measurements counts, but the median of the decodes: now and then one takes 0.6 of the usual time.

    Raises:
        PhotoError: if the file is not a photo.
    """
    _one_run(path)
    decodes, measured = [], []
    for _ in range(runs):
        decodes += [_decode(path) for _ in range(_DECODES)]
        measured.append(_one_run(path))
    best, _ = min(measured, key=lambda run: sum(run[0].values()))
    return Timing(
        decode_s=statistics.median(wall for wall, _ in decodes),
        steps_s=best,
        cpu_s=min(cpu for _, cpu in measured),
        decode_cpu_s=statistics.median(cpu for _, cpu in decodes),
        peak_mb=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    )


def _now() -> ClockReading:
    return time.perf_counter(), time.process_time()


def _decode(path: Path) -> ClockReading:
    data = np.frombuffer(path.read_bytes(), np.uint8)
    wall, cpu = _now()
    if path.suffix == ".heic" or cv2.imdecode(data, cv2.IMREAD_COLOR) is None:
        load_photo(path)
    end = _now()
    return end[0] - wall, end[1] - cpu


def _one_run(path: Path) -> tuple[dict[str, float], float]:
    marks: list[tuple[str, float]] = [("load", time.perf_counter())]
    cpu = time.process_time()

    def mark(step: PipelineStep) -> None:
        marks.append((step, time.perf_counter()))

    measure(load_photo(path), progress=mark)
    ends = [at for _, at in marks[1:]] + [time.perf_counter()]
    steps = {name: end - start for (name, start), end in zip(marks, ends, strict=True)}
    return steps, time.process_time() - cpu
