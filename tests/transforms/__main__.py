"""How steady area and number of boards stay when a photo is turned, mirrored, shrunk, packed, brightened or cut.

    python -m tests.transforms FOLDER... [--every N] [--only TEXT]

A folder holds ``cases.json``: a list of photos, each with ``id``, ``image`` (a path in the folder) and ``args``, the
scale options of ``grader measure`` (``{root}`` stands for the folder). Where it holds ``truth/ID.json`` with
``boards`` and ``masks/ID_board.png`` with their numbers, the count is set against the truth too: a board counts where
more than a tenth of its face is in sight.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from grader.board_count import BoardCount
from grader.cli.choices import choose_scale
from grader.model import Range
from grader.photo import Photo, load_photo
from grader.pipeline import Measurement, measure
from grader.regions.count import count_boards
from grader.request import Request
from grader.scale_choice import Automatic, ByTarget
from tests.transforms.copies import COPIES, Copy

_LEAST_IN_SIGHT = 0.1
_LOST = 1e-3  # of the plating: a copy that cuts off more shows other boards
_NEAR, _NEARER = 0.04, 0.02


@dataclass(frozen=True)
class Seen:
    """What one copy of a photo gave.

    Attributes:
        area_mm2: plated area and its range.
        boards: their number.
        outlines: how many were found.
    """

    area_mm2: Range
    boards: BoardCount
    outlines: int


def main(arguments: Sequence[str]) -> int:
    """Measure all copies of all photos, and print both tables."""
    ask = argparse.ArgumentParser(prog="python -m tests.transforms", description=__doc__.split("\n", 1)[0])
    ask.add_argument("folders", nargs="+", type=Path)
    ask.add_argument("--every", type=int, default=1, help="only every so many photos of a folder")
    ask.add_argument("--only", default="", help="only photos whose id holds this")
    wanted = ask.parse_args(arguments)
    rows: dict[str, dict[str, Seen]] = {}
    truth: dict[str, int] = {}
    for folder in wanted.folders:
        cases = json.loads((folder / "cases.json").read_text("utf-8"))
        for case in [c for c in cases if wanted.only in c["id"]][:: wanted.every]:
            found = dict(seen_in(folder, case))
            if "as it is" in found:
                rows[case["id"]] = found
                show_row(case["id"], found)
            known = boards_in_sight(folder, case["id"])
            if known is not None:
                truth[case["id"]] = known
    show_summary(rows, truth)
    return 0


def seen_in(folder: Path, case: dict[str, Any]) -> Iterator[tuple[str, Seen]]:
    """What the copies of one photo give, by the copies' names; those that show no scale are left out."""
    photo, request = load_photo(folder / case["image"]), request_of(case["args"], folder)
    whole: Measurement | None = None
    for copy in COPIES:
        if copy.is_mirrored and isinstance(request.scale, (ByTarget, Automatic)):
            continue
        if whole is not None and loses_plating(copy, photo, whole):
            continue
        done = measure(copy.photo(photo), replace(request, scale=copy.choice(request.scale, photo)))
        whole = done if whole is None else whole
        if done.area is not None and done.area.total.terms:
            yield (
                copy.name,
                Seen(
                    Range.of(done.area.total.draws()),
                    count_boards(done.regions.boards),
                    len(done.regions.boards),
                ),
            )


def request_of(args: Sequence[str], folder: Path) -> Request:
    """The request that some options of ``grader measure`` make."""
    ask = argparse.ArgumentParser()
    for name, dest in (("target", ""), ("length", ""), ("from", "start"), ("to", "end"), ("rectangle", "")):
        ask.add_argument(f"--{name}", dest=dest or name)
    ask.add_argument("--corners", nargs=4)
    ask.add_argument("--board-thickness")
    ask.add_argument("--no-scale", action="store_true")
    given = vars(ask.parse_args([a.replace("{root}", str(folder)) for a in args]))
    thickness = given.pop("board_thickness")
    target, corners = given.pop("target"), given.pop("corners")
    choice = choose_scale(
        target=None if target is None else Path(target),
        corners=None if corners is None else tuple(corners),
        pitch=None,
        **given,
    )
    return Request(choice, None if thickness is None else float(thickness.removesuffix("mm")))


def loses_plating(copy: Copy, photo: Photo, whole: Measurement) -> bool:
    """Whether a copy leaves out plating that the photo shows."""
    share = whole.coverage.share
    kept = float(copy.picture(share).sum()) / copy.factor**2
    return copy.name == "cropped" and kept < (1 - _LOST) * float(share.sum())


def boards_in_sight(folder: Path, name: str) -> int | None:
    """How many boards a photo truly shows; None where that is not known."""
    told, mask = folder / "truth" / f"{name}.json", folder / "masks" / f"{name}_board.png"
    if not told.exists() or not mask.exists():
        return None
    numbers = np.bincount(cv2.imread(str(mask), cv2.IMREAD_GRAYSCALE).ravel(), minlength=256)
    boards = json.loads(told.read_text("utf-8"))["boards"]
    face_px = [cv2.contourArea(np.asarray(b["outline_px"], np.float32)) for b in boards]
    return sum(int(numbers[b["index"]] > _LEAST_IN_SIGHT * size) for b, size in zip(boards, face_px, strict=True))


def show_row(name: str, found: dict[str, Seen]) -> None:
    """One photo: areas against that of the photo as it is, and the numbers of boards."""
    base = found["as it is"]
    say(f"{name}: {base.area_mm2.value:.1f} mm² ({base.area_mm2.low:.1f} to {base.area_mm2.high:.1f})")
    for copy, seen in found.items():
        ratio = seen.area_mm2.value / base.area_mm2.value
        say(f"    {copy:12s} {ratio:6.3f}   {seen.outlines} outlines, {seen.boards.words()}")


def show_summary(rows: dict[str, dict[str, Seen]], truth: dict[str, int]) -> None:
    """How near areas stay, how often counts stay, and how often they hold the truth."""
    copies = [
        (rows[name]["as it is"], seen) for name in rows for copy, seen in rows[name].items() if copy != "as it is"
    ]
    if copies:
        off = np.array([abs(seen.area_mm2.value / base.area_mm2.value - 1) for base, seen in copies])
        held = np.mean([base.area_mm2.low <= seen.area_mm2.value <= base.area_mm2.high for base, seen in copies])
        within = ", ".join(f"{(off <= most).mean():.1%} within {most:.0%}" for most in (_NEARER, _NEAR))
        say(f"\n{len(off)} copies of {len(rows)} photos: area {within}, mean {off.mean():.2%}, most {off.max():.1%};")
        say(f"{held:.1%} in the photo's own range")
        more = np.array([seen.outlines - base.outlines for base, seen in copies])
        say(f"outlines: as many in {(more == 0).mean():.1%}, mean difference {abs(more).mean():.3f}")
    told = [(seen, truth[name]) for name in rows if name in truth for seen in rows[name].values()]
    if told:
        error = np.array([seen.outlines - true for seen, true in told])
        held = np.mean([seen.boards.low <= true <= seen.boards.high for seen, true in told])
        asked = np.mean([not seen.boards.is_sure for seen, _ in told])
        say(f"against the truth, {len(told)} copies: outlines right {(error == 0).mean():.1%},")
        say(f"mean difference {abs(error).mean():.3f}; its range holds it {held:.1%}; asked for in {asked:.1%}")


def say(line: str) -> None:
    """Print a line at once: a run takes minutes."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
