"""Evidence that looks are at one board: logarithms of odds from what they have in common."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from calibration.packaged import packaged_toml
from grader.listing.backs import Mirrored
from grader.listing.looks import Look
from grader.listing.match import Match, Pair

_NEAR = 0.12  # difference of log sizes within which two pairs agree on the ratio of their photos' sizes
_FEWEST_SIZED = 2


def same_face(match: Match, a: Look, b: Look) -> float:
    """Logarithm of the odds that two looks are at one face of one board."""
    is_cut = a.is_cut or b.is_cut or a.is_hidden or b.is_hidden
    found = match.likeness
    if found is None:
        return float(match_figures()["apart"]["cut" if is_cut else "whole"])
    k = match_figures()["same_face"]
    told = (
        k["constant"]
        + k["agreement"] * found.agreement * found.overlap
        + k["features"] * math.sqrt(found.matched)
        + k["cut"] * is_cut
        + k["colour"] * min(found.colour, k["most_colour"]) / 10
    )
    told += k["in_layout"] if match.in_layout > 0 else k["out_of_layout"] if match.in_layout < 0 else 0.0
    return _held(told)


def of_sizes(a_mm2: float, b_mm2: float) -> float:
    """Contribution of the sizes of two whole outlines, the same for one face and for the two faces of a board."""
    k = match_figures()["size"]
    off = math.log(a_mm2 / b_mm2) / k["sd"]
    told = -math.log(k["sd"] * math.sqrt(2 * math.pi)) - off * off / 2
    return float(k["weight"] * max(told, k["most_against"]))


def opposite_faces(looks: Sequence[Look], backs: Mapping[Pair, Mirrored]) -> dict[Pair, float]:
    """Logarithm of the odds that two looks are at the two faces of one board, for each pair that fits, mirrored.

    Sizes count where other boards show how the sizes in the two photos compare.
    """
    without = {p: _fit(m) for p, m in backs.items()}
    by_photos: dict[Pair, list[Pair]] = {}
    for p in backs:
        by_photos.setdefault((looks[p[0]].photo, looks[p[1]].photo), []).append(p)
    k = match_figures()["opposite"]
    told = {}
    for pairs in by_photos.values():
        size = _common_size([backs[p].size_log for p in pairs], [without[p] for p in pairs])
        for p in pairs:
            apart = 0.0 if size is None else min(abs(backs[p].size_log - size), float(k["most_size"]))
            told[p] = without[p] + (k["unsized"] if size is None else k["size"] * apart)
    return told


def _fit(m: Mirrored) -> float:
    k = match_figures()["opposite"]
    return float(
        k["constant"]
        + k["outline"] * m.outline
        + k["slenderness"] * m.slenderness
        + k["plating"] * m.plating
        + k["colour"] * min(m.colour, 40.0) / 10
    )


def _common_size(sizes: Sequence[float], fit: Sequence[float]) -> float | None:
    """Logarithm of the ratio of sizes that the likely pairs of two photos agree on."""
    weights = 1 / (1 + np.exp(-np.asarray(fit)))
    logs = np.asarray(sizes)
    if len(logs) < _FEWEST_SIZED:
        return None
    votes = np.array([(weights * (np.abs(logs - at) < _NEAR)).sum() for at in logs])
    best = int(votes.argmax())
    near = np.abs(logs - logs[best]) < _NEAR
    if near.sum() < _FEWEST_SIZED:
        return None
    return float(np.average(logs[near], weights=weights[near] + 1e-9))


def _held(told: float) -> float:
    k = match_figures()["limits"]
    return float(min(max(told, k["most_against"]), k["most_for"]))


@functools.cache
def match_figures() -> dict[str, Any]:
    """The figures in ``data/match.toml``."""
    return packaged_toml("grader.listing", "data/match.toml")
