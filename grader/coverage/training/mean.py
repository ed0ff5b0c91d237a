"""Mean of several trained weights: ``python -m grader.coverage.training.mean A.pt B.pt... --out MEAN.pt``.

Weights that one run went through, or a run and the one that goes on from it, lie in one basin of the loss; their mean
lies nearer to its middle and errs less on other pictures (Izmailov et al., "Averaging weights leads to wider optima
and better generalization", 2018).
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

import torch
from torch import Tensor


def mean(states: Sequence[Mapping[str, Tensor]]) -> dict[str, Tensor]:
    """Each tensor's mean, of its own type; running means and variances too, so the runs must be alike."""
    return {
        name: torch.stack([s[name].double() for s in states]).mean(0).to(first.dtype)
        for name, first in states[0].items()
    }


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("weights", nargs="+", type=Path)
    ask.add_argument("--out", type=Path, required=True)
    got = ask.parse_args()
    torch.save(mean([torch.load(w, map_location="cpu", weights_only=True) for w in got.weights]), got.out)


if __name__ == "__main__":
    main()
