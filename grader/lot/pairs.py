"""Guess which photos show the two faces of the same boards, from names, outlines and order.

A person must confirm it: a wrong pair halves the number of boards seen.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from grader.measured import Measured

Reason = Literal["names", "outlines"]

_FRONT = frozenset({"front", "top", "obverse", "recto", "face", "a"})
_BACK = frozenset({"back", "bottom", "rear", "reverse", "verso", "underside", "b"})
# Two photos of one board from different places: scale and the outline's edges each err by a per cent or two.
_SAME_AREA, _SAME_SLENDERNESS = 0.08, 0.05


@dataclass(frozen=True)
class Suggestion:
    """Two photos that may show the same boards.

    Attributes:
        front: one of them.
        back: the other.
        reason: why they match.
    """

    front: Measured
    back: Measured
    reason: Reason


def suggest_pairs(photos: Sequence[Measured]) -> tuple[Suggestion, ...]:
    """Photos that may belong together, each in one pair at most.

    First come names that differ only in a word for the face, then photos next to each other in order of name
    with equally many boards of the same area and shape, if such photos come in even numbers.
    """
    found = _by_names(photos)
    paired = {m.sha256 for s in found for m in (s.front, s.back)}
    rest = sorted((m for m in photos if m.sha256 not in paired), key=lambda m: _in_order(m.photo))
    return (*found, *_by_outlines(rest))


def _by_names(photos: Sequence[Measured]) -> tuple[Suggestion, ...]:
    faces = [(*_stem_and_face(m.photo), m) for m in photos]
    found = []
    for stem in dict.fromkeys(stem for stem, _, _ in faces):
        alike = [(face, m) for s, face, m in faces if s == stem]
        backs = [m for face, m in alike if face == "back"]
        fronts = [m for face, m in alike if face != "back"]
        if len(backs) == len(fronts) == 1:
            found.append(Suggestion(fronts[0], backs[0], "names"))
    return tuple(found)


def _by_outlines(photos: Sequence[Measured]) -> tuple[Suggestion, ...]:
    runs: list[list[Measured]] = []
    for m in photos:
        if runs and _alike(runs[-1][-1], m):
            runs[-1].append(m)
        else:
            runs.append([m])
    even = [run for run in runs if len(run) % 2 == 0]
    return tuple(Suggestion(run[n], run[n + 1], "outlines") for run in even for n in range(0, len(run), 2))


def _alike(a: Measured, b: Measured) -> bool:
    """Whether both show equally many boards of the same areas and shapes."""
    if not a.boards or len(a.boards) != len(b.boards):
        return False
    pairs = zip(*(sorted(m.boards, key=lambda board: board.size_mm2) for m in (a, b)), strict=True)
    return all(
        abs(p.size_mm2 / q.size_mm2 - 1) < _SAME_AREA
        and p.slenderness is not None
        and q.slenderness is not None
        and abs(p.slenderness / q.slenderness - 1) < _SAME_SLENDERNESS
        for p, q in pairs
    )


def _stem_and_face(name: str) -> tuple[str, str]:
    """A photo's name without its ending and its word for the face, and that face: front, back or nothing."""
    words = re.findall(r"[^\W\d_]+|\d+", name.rpartition(".")[0].casefold() or name.casefold())
    for n, word in reversed(list(enumerate(words))):
        face = "front" if word in _FRONT else "back" if word in _BACK else ""
        if face:
            return " ".join(words[:n] + words[n + 1 :]), face
    return " ".join(words), ""


def _in_order(name: str) -> tuple[tuple[int, str], ...]:
    """A key that puts photo 9 before photo 10."""
    return tuple((int(part), "") if part.isdigit() else (0, part) for part in re.findall(r"\d+|\D+", name.casefold()))
