"""All timings, one after another."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from grader.api import measure
from grader.benchmark.first_page import FirstPage, time_first_page
from grader.benchmark.photos import BARE, PLATED, SIZES_MP, enlarged
from grader.benchmark.processes import CommandTimes, time_command
from grader.benchmark.steps import Timing
from grader.lot import estimate_lot, one_part
from grader.lot_offer import offer_for, typed_assumptions
from grader.measured import measurements_of
from grader.samples import samples_folder

_PHONE_MP = 12
_SPOT = ("--spot", "2650 USD/ozt", "--spot-date", "today", "--asking", "120 USD")
LOT_BOARDS = 1000


@dataclass(frozen=True)
class Everything:
    """The figures that ``report.document`` shows.

    Attributes:
        plated: photos with plating, by name.
        bare: photos without plating.
        sizes: one photo at several sizes, by megapixels.
        heic: the same photo as HEIC.
        commands: whole processes, by the command typed.
        lot_s: time of estimate and offer for a lot of ``LOT_BOARDS`` photographed boards.
        page: the first screen in a browser; None if no browser is installed here.
    """

    plated: dict[str, Timing]
    bare: dict[str, Timing]
    sizes: dict[float, Timing]
    heic: Timing
    commands: dict[str, CommandTimes]
    lot_s: float
    page: FirstPage | None


def measured_all(folder: Path, runs: int) -> Everything:
    """Time everything, with files in an existing folder."""
    plated, bare = (
        {name: _alone(enlarged(name, _PHONE_MP, folder), runs) for name in names} for names in (PLATED, BARE)
    )
    first = PLATED[0]
    sizes = {
        float(mp): plated[first] if mp == _PHONE_MP else _alone(enlarged(first, mp, folder), runs) for mp in SIZES_MP
    }
    heic = _alone(enlarged(first, _PHONE_MP, folder, ".heic"), runs)
    record = folder / "measured.json"
    measured = measure(samples_folder() / f"{first}.jpg").record.to_dict()
    record.write_text(json.dumps(measured))
    photo = str(folder / f"{first}-{_PHONE_MP}.jpg")
    commands = {
        "grader --help": time_command(["--help"], runs),
        "grader value": time_command(["value", str(record), *_SPOT], runs),
        f"grader measure, {_PHONE_MP} megapixels": time_command(["measure", photo], runs),
    }
    lot_s = min(_lot_s(measured) for _ in range(runs))
    return Everything(plated, bare, sizes, heic, commands, lot_s, time_first_page(runs))


def _alone(photo: Path, runs: int) -> Timing:
    """Time a photo in a separate process, so that the peak of memory belongs to this photo only."""
    done = subprocess.run(  # noqa: S603 - our own interpreter and module
        [sys.executable, "-m", "grader.benchmark", str(photo), "--runs", str(runs), "--json"],
        check=True,
        capture_output=True,
        text=True,
    )
    return Timing(**json.loads(done.stdout))


def _lot_s(measured: dict[str, object]) -> float:
    """Time estimate and offer for many photos of some boards each, as if each were a different photo."""
    text, sha = json.dumps(measured), str(measured["sha256"])
    boards = 40
    copies = (
        (f"photo {i}", json.loads(text.replace(sha, f"{i:012x}{sha[12:]}").replace(sha[:12], f"{i:012x}")))
        for i in range(LOT_BOARDS // boards)
    )
    records = measurements_of(copies)
    start = time.perf_counter()
    figures = typed_assumptions(spot="2650 USD/ozt", spot_date=date.today())
    offer_for(estimate_lot(one_part(records, boards=[boards])), figures, None)
    return time.perf_counter() - start
