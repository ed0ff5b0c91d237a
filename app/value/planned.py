"""The last plans of the page Bench for the photos, as used by the price: cuts, pieces, minutes, vessel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from app.bench.report import kept_sorted
from app.bench.show import asked_volume, plans_of
from grader.bid import PlansOfPhotos, WorkBench, cuts_of_boards
from grader.measured import Measured
from grader.places import process_folder

TOLD = "Cuts, pieces and minutes are those that were last planned on the page Bench."


@dataclass(frozen=True)
class Planned:
    """The user's bench.

    Attributes:
        bench: process, vessel and own times.
        cuts: of the planned boards; empty if no board was planned.
    """

    bench: WorkBench
    cuts: PlansOfPhotos


def planned_for(measured: Sequence[Measured]) -> Planned:
    """The bench with its plans for these measurements.

    Raises:
        UsageError: the volume of a vessel cannot be read.
    """
    done = kept_sorted(measured)
    times = None if done is None else done.thresholds
    cuts = {} if done is None else {p.sha256: cuts_of_boards(plans_of(done, p, None)) for p in done.photos}
    return Planned(WorkBench.of(None, process_folder(), asked_volume(), times), cuts)
