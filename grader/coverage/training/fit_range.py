"""Fits the claimed range of areas: ``python -m grader.coverage.training.fit_range FOUND.json...``.

Reads what ``evaluate --json`` wrote of pictures that were not trained on, and prints figures for ``data/error.toml``:
``level`` and ``slope`` of the range by the network's own doubt, by greatest likelihood, residuals of the logarithm
distributed as Student's t; then how often ranges with a margin ``--besides`` hold the truth, by fifths of the doubt.
Only plated pictures with a scale take part. With ``--unscaled``, those without do, of which the median is fitted too,
apart for those whose plating is mostly pads and mostly edge contacts. A photograph may count as ``--photographs``
renders, which are many.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from calibration.arrays import FloatArray
from grader.coverage.error import centre_of

HALF = 0.5  # share of edge contacts from which a picture belongs to those with edge contacts
DEGREES = 5  # of freedom of Student's t: tails like those of single pictures
# sigma of the lognormal whose 90 % range is that of Student's t of scale 1
LOGNORMAL = float(stats.t.ppf(0.95, DEGREES) / stats.norm.ppf(0.95))


def fit(
    doubt: FloatArray, residual: FloatArray, counts: FloatArray, *, centred: bool = True
) -> tuple[float, float, float]:
    """Level and slope of ln σ by doubt, with σ of the lognormal, and the median of the residuals.

    The three arrays have the same length. If ``centred``, the residuals' median is 0; otherwise it is fitted.
    """

    def surprise(parameters: FloatArray) -> float:
        scale = np.exp(parameters[0] + parameters[1] * doubt)
        off = residual - (0 if centred else parameters[2])
        return -float((counts * (stats.t.logpdf(off / scale, DEGREES) - np.log(scale))).sum())

    start = np.array([-4.0, 4.0] if centred else [-4.0, 4.0, 0.0])
    best = optimize.minimize(surprise, start, method="Nelder-Mead", options={"maxiter": 5000})
    return float(best.x[0]) + float(np.log(LOGNORMAL)), float(best.x[1]), 0.0 if centred else float(best.x[2])


def truths_held(
    doubt: FloatArray, residual: FloatArray, level: float, slope: float, besides: float
) -> NDArray[np.bool_]:
    """Whether each picture's truth lies in its claimed 90 % range."""
    half = stats.norm.ppf(0.95) * np.hypot(np.exp(level + slope * doubt), besides)
    return np.asarray(np.abs(residual) <= half)


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("found", nargs="+", type=Path)
    ask.add_argument("--segmenter", required=True, help="whose centres to take: a table of error.toml")
    ask.add_argument("--photographs", type=float, default=1.0, help="how much a photograph counts against a render")
    ask.add_argument("--unscaled", action="store_true", help="fit the pictures without scale")
    ask.add_argument("--besides", type=float, nargs="+", default=[0.0], help="margins to try")
    got = ask.parse_args()
    found: list[dict[str, Any]] = [f for path in got.found for f in json.loads(path.read_text("utf-8"))]
    found = [f for f in found if f["error"] is not None and f["error"] > -1 and f["doubt"] is not None]
    found = [f for f in found if (f["px_per_mm"] is None) == got.unscaled]
    groups = {"": found}
    if got.unscaled:
        groups = {"pads": [], "contacts": []}
        for one in found:
            groups["contacts" if (one.get("contacts") or 0) >= HALF else "pads"].append(one)
    for name, group in groups.items():
        if name and group:
            sys.stdout.write(f"[{got.segmenter}.unscaled.{name}]\n")
        if group:
            _report(group, got)


def _report(found: list[dict[str, Any]], got: argparse.Namespace) -> None:
    """Print what fits some pictures, and how often the range then holds their truth."""
    doubt = np.array([f["doubt"] for f in found])
    centre = np.array([1.0 if got.unscaled else centre_of(got.segmenter, f["px_per_mm"]) for f in found])
    residual = -np.log1p([f["error"] for f in found]) - np.log(centre)
    photographs = np.array([f["kind"] != "render" for f in found])
    counts = np.where(photographs, got.photographs, 1.0)
    level, slope, median = fit(doubt, residual, counts, centred=not got.unscaled)
    residual = residual - median
    least, greatest = np.quantile(doubt, [0.01, 0.99])
    doubt = np.clip(doubt, least, greatest)
    say = sys.stdout.write
    say(f"{len(found)} pictures\n")
    if got.unscaled:
        say(f"median = {np.exp(median):.2f}\n")
    say(f"level = {level:.2f}\nslope = {slope:.2f}\n")
    say(f"least = {least:.2f}\ngreatest = {greatest:.2f}\n")
    edges = np.quantile(doubt, [0.2, 0.4, 0.6, 0.8])
    for besides in got.besides:
        inside = truths_held(doubt, residual, level, slope, besides)
        for name, which in (("renders", ~photographs), ("photographs", photographs)):
            if which.any():
                fifth = np.digitize(doubt[which], edges)
                by_fifth = [f"{inside[which][fifth == i].mean():.0%}" for i in range(5) if (fifth == i).any()]
                say(f"besides {besides}: {name} held {inside[which].mean():.1%}, by doubt {' '.join(by_fifth)}\n")


if __name__ == "__main__":
    main()
