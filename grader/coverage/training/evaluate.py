"""One row of the model card's table of rounds: ``python -m grader.coverage.training.evaluate FOLDER...``.

Runs the segmenter as the product does, over folders of pictures with their truth (see ``dataset``), with the scale
where the folder says it, and prints figures for each kind of picture. Only what is known counts. Needs no PyTorch.

``--held-out`` takes only the pictures that training leaves out, ``--weights`` tries weights that are not shipped,
``--json`` writes what was found for each picture, from which ``fit_range`` fits the claimed range.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.coverage.choose import segmenter_named
from grader.coverage.error import share_of_contacts
from grader.coverage.learned import LearnedSegmenter
from grader.coverage.model import Segmenter
from grader.coverage.network import Network
from grader.photo import load_photo

from .classes import NEITHER
from .split import held_out

KINDS = {"render": "renders", "edge": "edges", "pads": "pads", "mixed": "mixed", "none": "bare photographs"}
LEAST_PLATED_PX = 10.0  # a picture with less counts as not plated


@dataclass(frozen=True)
class Truth:
    """A picture with its known truth.

    Attributes:
        image: path of the picture.
        kind: a key of ``KINDS``.
        gold: uint8 (h, w), plated share, 255 = 1.
        known: bool (h, w), True where that is known.
        px_per_mm: scale, ``None`` if not known.
    """

    image: Path
    kind: str
    gold: NDArray[np.uint8]
    known: NDArray[np.bool_]
    px_per_mm: float | None


@dataclass(frozen=True)
class PictureResult:
    """The result for one picture.

    Attributes:
        name: of the picture.
        kind: a key of ``KINDS``.
        error: (coverage found − true) ÷ true; ``None`` where nothing is plated.
        overlap: intersection over union at half coverage; ``None`` where nothing is plated.
        false: share of the known pixels found plated, if nothing is plated; otherwise ``None``.
        px_per_mm: scale given, ``None`` if not known.
        sigma: of the claimed error of the area, lognormal; ``None`` where nothing was found.
        centre: median of that error.
        doubt: the segmenter's own, 0..1, if it states one.
        contacts: share of the plating found that it takes for edge contacts, if it can tell.
        seconds: time taken.
    """

    name: str
    kind: str
    error: float | None
    overlap: float | None
    false: float | None
    px_per_mm: float | None
    sigma: float | None
    centre: float | None
    doubt: float | None
    contacts: float | None
    seconds: float


def read_truth(folder: Path, name: str) -> Truth:
    """Read the truth of one picture from a folder."""
    masks = folder / "masks"
    image = folder / "images" / f"{name}.jpg"
    gold, known = (_grey(masks / f"{name}_{what}.png") for what in ("gold", "known"))
    kind, scale = (_text(masks / f"{name}_{what}.txt") for what in ("kind", "scale"))
    classes = _grey(masks / f"{name}_mask.png")
    if gold is None:
        height, width = load_photo(image).rgb.shape[:2]
        gold = np.zeros((height, width), np.uint8)
    counts = np.ones(gold.shape, np.bool_) if known is None else known > 0
    if classes is not None:
        counts &= classes != NEITHER
    return Truth(image, kind or "render", gold, counts, float(scale) if scale else None)


def judge(truth: Truth, segmenter: Segmenter) -> PictureResult:
    """Run the segmenter over one picture and compare the result with the truth, where that is known."""
    photo = load_photo(truth.image)
    scale = None
    if truth.px_per_mm is not None:
        scale = Scale("length", UniformPlane(truth.px_per_mm), truth.px_per_mm, ())
    start = time.monotonic()
    coverage = segmenter.segment(photo, scale)
    seconds = time.monotonic() - start
    got, true = coverage.share[truth.known] / 255, truth.gold[truth.known] / 255
    plated = float(true.sum())
    error = overlap = false = None
    if plated < LEAST_PLATED_PX:
        false = float(got.mean())
    else:
        error = float(got.sum()) / plated - 1
        union = int(((got >= 0.5) | (true >= 0.5)).sum())
        overlap = float(((got >= 0.5) & (true >= 0.5)).sum()) / union if union else 1.0
    centre, sigma = coverage.area_inputs[0].distribution.parameters if coverage.area_inputs else (None, None)
    return PictureResult(
        name=truth.image.stem,
        kind=truth.kind,
        error=error,
        overlap=overlap,
        false=false,
        px_per_mm=truth.px_per_mm,
        sigma=sigma,
        centre=centre,
        doubt=coverage.doubt,
        contacts=share_of_contacts(coverage.share, coverage.contact),
        seconds=round(seconds, 2),
    )


def pictures(folders: Sequence[Path], *, only_held_out: bool = False) -> list[tuple[Path, str]]:
    """Folder and name of all pictures, or of those that training leaves out."""
    listed = [(folder, path.stem) for folder in folders for path in sorted((folder / "images").glob("[!.]*.jpg"))]
    if not only_held_out:
        return listed
    return [(f, n) for f, n in listed if held_out(f, n, photograph=(f / "masks" / f"{n}_kind.txt").exists())]


def table_row(label: str, found: Iterable[PictureResult]) -> str:
    """A row of the table: one cell for each kind, in the order of ``KINDS``."""
    everything = list(found)
    return f"| {' | '.join([label, *(_cell([f for f in everything if f.kind == kind]) for kind in KINDS)])} |"


def table_heading() -> str:
    """The table's head."""
    cells = ["round", *KINDS.values()]
    return f"| {' | '.join(cells)} |\n|{'---|' * len(cells)}"


def _cell(found: Sequence[PictureResult]) -> str:
    errors = np.abs([f.error for f in found if f.error is not None])
    overlaps = [f.overlap for f in found if f.overlap is not None]
    false = [f.false for f in found if f.false is not None]
    parts = []
    if len(errors):
        median, p90, worst = 100 * np.median(errors), 100 * np.percentile(errors, 90), 100 * errors.max()
        parts.append(f"{len(errors)}: {median:.1f} / {p90:.0f} / {worst:.0f} %")
        parts.append(f"IoU {np.mean(overlaps):.3f} / {min(overlaps):.2f}")
    if false:
        parts.append(f"{len(false)} bare: false {100 * np.mean(false):.3f} / {100 * max(false):.2f} %")
    return ", ".join(parts) or "–"


def _grey(path: Path) -> NDArray[np.uint8] | None:
    return np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), np.uint8) if path.exists() else None


def _text(path: Path) -> str | None:
    return path.read_text("utf-8").strip() if path.exists() else None


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    ask.add_argument("--label", default="as shipped", help="the row's first cell")
    ask.add_argument("--held-out", action="store_true", help="only pictures that training leaves out")
    ask.add_argument("--without-scale", action="store_true", help="leave out the scales that the folders state")
    choice = ask.add_mutually_exclusive_group()
    choice.add_argument(
        "--weights", type=Path, help="a folder of exported weights in place of those of the shipped first network"
    )
    choice.add_argument("--segmenter", help="another segmenter, by name")
    ask.add_argument("--second", type=Path, help="a folder of exported weights in place of the second network's")
    ask.add_argument("--json", type=Path, help="write what was found for each picture here")
    ask.add_argument("--jobs", type=int, default=1, help="pictures at a time")
    got = ask.parse_args()
    if got.segmenter and got.second:
        ask.error("argument --second: not allowed with argument --segmenter")
    listed = pictures(got.folders, only_held_out=got.held_out)
    if not listed:
        sys.exit("There are no pictures there: a folder needs images/NAME.jpg and masks/NAME_gold.png.")
    segmenters: list[Segmenter]
    if got.segmenter is None:
        second = Network(got.second) if got.second else None
        segmenters = [LearnedSegmenter(Network(got.weights), second) for _ in range(got.jobs)]
    else:
        segmenters = [segmenter_named(got.segmenter)] * got.jobs

    def every(job: int) -> list[PictureResult]:
        truths = (read_truth(*one) for one in listed[job :: got.jobs])
        if got.without_scale:
            truths = (replace(truth, px_per_mm=None) for truth in truths)
        return [judge(truth, segmenters[job]) for truth in truths]

    with ThreadPoolExecutor(got.jobs) as pool:
        found = [f for part in pool.map(every, range(got.jobs)) for f in part]
    found.sort(key=lambda f: f.name)
    if got.json:
        got.json.write_text(json.dumps([asdict(f) for f in found], indent=1), "utf-8")
    sys.stdout.write(f"{table_heading()}\n{table_row(got.label, found)}\n")


if __name__ == "__main__":
    main()
