"""Mean of trained weights: ``python -m grader.coverage.training.mean A.pt:0.5 B.pt C.pt --out MEAN.pt``.

Weights that one run went through, or a run and the one that goes on from it, lie in one basin of the loss; their mean
lies nearer to its middle and errs less on other pictures (Izmailov et al., "Averaging weights leads to wider optima
and better generalization", 2018). A number after a colon is how much a file counts, 1 without it.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path

import torch
from torch import Tensor

from .weights import read_weights


def mean(states: Sequence[Mapping[str, Tensor]], counts: Sequence[float]) -> dict[str, Tensor]:
    """Each tensor's weighted mean, of its own type; running means and variances too, so the runs must be alike."""
    return {
        name: torch.stack([c * s[name].double() for c, s in zip(counts, states, strict=True)])
        .sum(0)
        .div(sum(counts))
        .to(first.dtype)
        for name, first in states[0].items()
    }


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("weights", nargs="+")
    ask.add_argument("--out", type=Path, required=True)
    got = ask.parse_args()
    files = [text.partition(":") for text in got.weights]
    states = [read_weights(Path(name)) for name, _, _ in files]
    torch.save(mean(states, [float(count or 1) for _, _, count in files]), got.out)


if __name__ == "__main__":
    main()
