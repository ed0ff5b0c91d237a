"""How well lots are read whose truth is known.

    python -m tests.listings.score FOLDER... [--each]

A folder holds what ``tests.listings.render`` wrote. An outline belongs to the board whose outline it covers most, at
least half. Of the boards that a picture shows more than half, those are matched right that are in one of as many
groups as the lot has boards of their design (twins cannot be told apart), the groups that hold most looks at them;
for backs as for fronts. A look in a group that is another design's is a wrong match.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from calibration.target import parse_target
from grader.listing import Listing, read_listing
from grader.request import Request
from grader.scale_choice import ByTarget

_LEAST_SEEN = 0.5
_LEAST_OVERLAP = 0.5


@dataclass(frozen=True)
class Score:
    """Of one lot.

    Attributes:
        shown: boards that pictures show more than half.
        right: of these, matched right.
        looks: outlines that the program took for boards.
        wrong: of these, matched with another board.
        boards: in the lot.
        count: low, median and high number that was told.
        area: told ÷ true, and the range's ends ÷ true; None where no scale was found.
        seconds: that it took.
    """

    shown: int
    right: int
    looks: int
    wrong: int
    boards: int
    count: tuple[int, int, int]
    area: tuple[float, float, float] | None
    seconds: float


def score_lot(folder: Path) -> tuple[Score, Listing]:
    """Read a lot and set it against its truth."""
    truth = json.loads((folder / "truth.json").read_text())
    files = [folder / p["file"] for p in truth["pictures"]]
    request = Request(ByTarget(parse_target((folder / "target.json").read_text())))
    began = time.monotonic()
    listing = read_listing(files, request)
    took = time.monotonic() - began
    return scored(listing, truth, took), listing


def scored(listing: Listing, truth: Mapping[str, Any], seconds: float) -> Score:
    """A listing that was read, against the truth."""
    design = {b["board"]: b["design"] for b in truth["boards"]}
    copies = Counter(design.values())
    pictures = {p["file"]: p for p in truth["pictures"]}
    owner: dict[int, tuple[int, str] | None] = {}  # look: design and face
    group_of: dict[int, int] = {}
    taken: set[tuple[str, int]] = set()
    looks: dict[tuple[str, int, str], int] = {}
    for number, board in enumerate(listing.boards):
        for each in board.looks:
            name = listing.photos[each.look.photo].name
            found = _owner(each.look.outline_px, pictures[name], each.look.frame)
            group_of[each.number] = number
            owner[each.number] = None if found is None else (design[found[0]], found[1])
            if found is not None and (name, found[0]) not in taken:
                taken.add((name, found[0]))
                looks[name, found[0], found[1]] = each.number
    members: dict[int, Counter[int]] = defaultdict(Counter)
    for look, whose in owner.items():
        if whose is not None:
            members[group_of[look]][whose[0]] += 1
    of_design: dict[int, list[int]] = defaultdict(list)
    majority: dict[int, int] = {}
    for group, votes in members.items():
        majority[group] = max(votes, key=lambda d: (votes[d], -d))
        of_design[majority[group]].append(group)
    chosen = {
        g for d, groups in of_design.items() for g in sorted(groups, key=lambda g: (-members[g][d], g))[: copies[d]]
    }
    shown = right = 0
    for p in truth["pictures"]:
        for b in p["boards"]:
            if b["in_sight"] <= _LEAST_SEEN:
                continue
            shown += 1
            look = looks.get((p["file"], b["board"], b["face"]))
            if look is not None:
                group = group_of[look]
                right += group in chosen and majority[group] == design[b["board"]]
    wrong = sum(1 for look, whose in owner.items() if whose is not None and majority[group_of[look]] != whose[0])
    return Score(
        shown,
        right,
        len(owner),
        wrong,
        len(truth["boards"]),
        (listing.board_count.low, listing.board_count.value, listing.board_count.high),
        _area(listing, truth),
        seconds,
    )


def _area(listing: Listing, truth: Mapping[str, Any]) -> tuple[float, float, float] | None:
    told = listing.plated_area_mm2
    if told is None:
        return None
    backs = {
        b["board"]
        for p in truth["pictures"]
        for b in p["boards"]
        if b["face"] == "back" and b["in_sight"] > _LEAST_SEEN
    }
    true = sum(b["front_gold_mm2"] + (b["back_gold_mm2"] if b["board"] in backs else 0.0) for b in truth["boards"])
    return told.value / true, told.low / true, told.high / true


def _owner(outline: np.ndarray, picture: Mapping[str, Any], frame: tuple[int, int]) -> tuple[int, str] | None:
    size = (frame[0] // 4, frame[1] // 4)

    def drawn(ring: np.ndarray) -> np.ndarray:
        mask = np.zeros(size, np.uint8)
        cv2.fillPoly(mask, [np.round(ring / 4).astype(np.int32)], 1)
        return mask

    own = drawn(outline)
    best = (0.0, -1, "front")
    for b in picture["boards"]:
        other = drawn(np.asarray(b["outline_px"]))
        overlap = float((own & other).sum() / max(int((own | other).sum()), 1))
        best = max(best, (overlap, b["board"], b["face"]))
    return (best[1], best[2]) if best[0] >= _LEAST_OVERLAP else None


def main(arguments: Sequence[str]) -> int:
    """Score all lots of some folders."""
    ask = argparse.ArgumentParser(prog="python -m tests.listings.score", description=__doc__.split("\n", 1)[0])
    ask.add_argument("folders", nargs="+", type=Path)
    wanted = ask.parse_args(arguments)
    cv2.setNumThreads(1)
    scores = []
    for folder in (f for root in wanted.folders for f in sorted(root.glob("lot-*")) or [root]):
        score, _ = score_lot(folder)
        scores.append(score)
        sys.stdout.write(f"{folder.name}: {_line(score)}\n")
        sys.stdout.flush()
    sys.stdout.write(_summary(scores))
    return 0


def _line(s: Score) -> str:
    low, middle, high = s.count
    area = "no scale" if s.area is None else "area × {:.3f} ({:.3f} to {:.3f})".format(*s.area)
    return (
        f"right {s.right} of {s.shown}, wrong {s.wrong} of {s.looks}, "
        f"{s.boards} boards told as {middle} ({low} to {high}), {area}, {s.seconds:.0f} s"
    )


def _summary(scores: Sequence[Score]) -> str:
    shown, looks = sum(s.shown for s in scores), sum(s.looks for s in scores)
    areas = [s.area for s in scores if s.area is not None]
    off = [abs(a[0] - 1) for a in areas]
    held = sum(s.count[0] <= s.boards <= s.count[2] for s in scores)
    within = sum(a[1] <= 1 <= a[2] for a in areas)
    return (
        f"{len(scores)} lots: right {sum(s.right for s in scores) / shown:.1%} of {shown}, "
        f"wrong {sum(s.wrong for s in scores) / looks:.1%} of {looks}; area off by {np.median(off):.1%} (median of "
        f"{len(areas)}); ranges hold the count {held} times, the area {within} times\n"
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
