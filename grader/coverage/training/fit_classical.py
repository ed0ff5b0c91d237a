"""Fit the two scores of the classical segmenter from a folder of pictures with masks.

    python -m grader.coverage.training.fit_classical FOLDER [--out classical.json]

The folder holds ``cases.json`` (a list with ``id``, ``image``, ``px_per_mm``) and, for each case,
``masks/ID_mask.png`` (class number of each pixel: 1 target, 4 edge contact, 5 pad, 11 plated hole wall) and
``masks/ID_gold.png`` (coverage, 255 = wholly plated). Deterministic: same folder, same result.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from calibration.errors import DataFileError
from calibration.white_balance import estimate, to_linear
from grader.coverage.features import PIXEL_FEATURES, REGION_FEATURES, describe_regions, pixel_features
from grader.coverage.scorer import Scorer

_SEED = 1
_TARGET, _CONTACT, _PAD, _BARREL, _CLASSES = 1, 4, 5, 11, 12
_SAMPLES = {0: 500, 2: 350, 4: 500, 5: 400, 9: 350}
_FEW = 250
_GAIN_SD, _EXPOSURE_SD = 0.10, 0.40  # log2: how far balance and exposure may be off in use
_ZOOMS = (1.0, 0.6, 1.8)
_COARSEST, _FINEST = 2.5, 12.0  # px/mm of the pictures that regions are learned from
_SQUARED = ("log_area", "log_aspect", "rectangularity", "solidity", "blue", "light", "red_contrast",
            "blue_contrast", "light_contrast", "edge_steepness", "log_alike")  # fmt: skip


@dataclass(frozen=True)
class Example:
    """One picture with its truth."""

    rgb: NDArray[np.uint8]
    classes: NDArray[np.uint8]
    gold: NDArray[np.uint8]
    px_per_mm: float

    def zoomed(self, zoom: float) -> Example:
        """The same at another resolution."""
        if zoom == 1.0:
            return self
        smooth = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
        area = cv2.INTER_AREA if zoom < 1 else cv2.INTER_LINEAR
        return Example(
            np.asarray(cv2.resize(self.rgb, None, fx=zoom, fy=zoom, interpolation=smooth), np.uint8),
            np.asarray(cv2.resize(self.classes, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_NEAREST), np.uint8),
            np.asarray(cv2.resize(self.gold, None, fx=zoom, fy=zoom, interpolation=area), np.uint8),
            self.px_per_mm * zoom,
        )


def examples(folder: Path) -> Iterator[Example]:
    """All pictures of a folder, one at a time."""
    for case in json.loads((folder / "cases.json").read_text("utf-8")):
        bgr = _picture(folder / case["image"], cv2.IMREAD_COLOR)
        classes = _picture(folder / f"masks/{case['id']}_mask.png", cv2.IMREAD_GRAYSCALE)
        gold = _picture(folder / f"masks/{case['id']}_gold.png", cv2.IMREAD_GRAYSCALE)
        yield Example(np.ascontiguousarray(bgr[..., ::-1]), classes, gold, float(case["px_per_mm"]))


def _picture(path: Path, mode: int) -> NDArray[np.uint8]:
    picture = cv2.imread(str(path), mode)
    if picture is None:
        raise DataFileError("picture-missing", f"{path} is no picture.", "See the folder's format in this module.")
    return np.asarray(picture, np.uint8)


def balanced(example: Example, rng: np.random.Generator) -> NDArray[np.float32]:
    """Linear light as the segmenter would balance it, off by what white balance and exposure usually are."""
    target = cv2.erode((example.classes == _TARGET).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    gains = np.log2(estimate(example.rgb).gains)
    paper = to_linear(example.rgb[target])
    paper = paper[(paper.max(axis=1) < 0.9) & (paper.min(axis=1) > 0.03)]
    if len(paper) > 500:
        gains = -np.median(np.log2(paper) - np.log2(paper[:, 1:2]), axis=0)
    off = rng.normal(0, _GAIN_SD, 3)
    factor = np.exp2(gains + off - off[1] + rng.normal(0, _EXPOSURE_SD))
    return np.asarray(to_linear(example.rgb) * factor.astype(np.float32))


def fit_pixels(folder: Path) -> Scorer:
    """The score of a pixel."""
    rng = np.random.default_rng(_SEED)
    rows, truth = [], []
    for example in examples(folder):
        for _ in range(2):
            pixels = pixel_features(balanced(example, rng), example.px_per_mm)
            for kind in range(_CLASSES):
                plated = kind in (_CONTACT, _PAD)
                if kind in (_TARGET, _BARREL):
                    continue
                sure = example.gold > 200 if plated else example.gold == 0
                ys, xs = np.nonzero((example.classes == kind) & sure)
                if len(ys):
                    some = rng.choice(len(ys), min(_SAMPLES.get(kind, _FEW), len(ys)))
                    rows.append(pixels[ys[some], xs[some]])
                    truth.append(np.full(len(some), plated))
    n = len(PIXEL_FEATURES)
    pairs = np.array([(i, j) for i in range(n) for j in range(i, n)])
    return fit(PIXEL_FEATURES, np.vstack(rows), np.concatenate(truth), None, pairs, ridge=1e-4)


def fit_regions(folder: Path, pixel: Scorer) -> Scorer:
    """The score of a region that the pixel score proposes, weighed by the square root of its area."""
    rng = np.random.default_rng(_SEED + 1)
    rows, truth, weight = [], [], []
    for whole in examples(folder):
        for zoom in _ZOOMS:
            if not _COARSEST <= whole.px_per_mm * zoom <= _FINEST:
                continue
            example = whole.zoomed(zoom)
            pixels = pixel_features(balanced(example, rng), example.px_per_mm)
            score = pixel.score(pixels)
            score[cv2.dilate((example.classes == _TARGET).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0] = -np.inf
            table = describe_regions(pixels, score, example.px_per_mm)
            labels = table.labels.ravel()
            size = np.bincount(labels)
            gold = np.bincount(labels, example.gold.ravel() / 255) / size
            barrel = np.bincount(labels, example.classes.ravel() == _BARREL) / size
            chosen = barrel[table.numbers] < 0.3
            numbers = table.numbers[chosen]
            rows.append(table.features[chosen])
            truth.append(gold[numbers] > 0.5)
            weight.append(np.sqrt(size[numbers]) / example.px_per_mm)
    squared = np.array([(REGION_FEATURES.index(n),) * 2 for n in _SQUARED])
    return fit(REGION_FEATURES, np.vstack(rows), np.concatenate(truth), np.concatenate(weight), squared, ridge=3e-4)


def fit(
    names: tuple[str, ...],
    rows: NDArray[Any],
    truth: NDArray[np.bool_],
    weight: NDArray[np.float64] | None,
    pairs: NDArray[np.int64],
    ridge: float,
) -> Scorer:
    """Ridge logistic regression by L-BFGS."""
    blank = Scorer(names, rows.mean(axis=0), rows.std(axis=0), pairs, np.zeros(1 + len(names) + len(pairs)))
    design = blank.design(rows.astype(np.float32)).astype(np.float64)
    y = truth.astype(np.float64)
    w = np.ones(len(y)) if weight is None else weight

    def loss(weights: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        z = design @ weights
        p = 1 / (1 + np.exp(-np.clip(z, -50, 50)))
        penalty = np.r_[0, weights[1:]]
        value = float(np.mean(w * (np.logaddexp(0, z) - y * z)) + ridge * np.sum(penalty**2))
        return value, design.T @ (w * (p - y)) / len(y) + 2 * ridge * penalty

    best = minimize(loss, np.zeros(design.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 500})
    return Scorer(names, blank.mean, blank.sd, pairs, best.x)


def main() -> None:
    """Fit both and write them."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--out", type=Path, default=Path(__file__).parents[1] / "data/classical.json")
    asked = ask.parse_args()
    pixel = fit_pixels(asked.folder)
    region = fit_regions(asked.folder, pixel)
    source = (
        f"fitted by {Path(__file__).stem} to {len(json.loads((asked.folder / 'cases.json').read_text()))} renders"
    )
    data = {"source": source, "pixel": pixel.as_json(), "region": region.as_json()}
    asked.out.write_text(json.dumps(data) + "\n", "utf-8")


if __name__ == "__main__":
    main()
