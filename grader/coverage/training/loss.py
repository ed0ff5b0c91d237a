"""The loss that training minimises."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

from .classes import FINGER, NEITHER, UNKNOWN
from .dataset import CropBatch
from .model import COVERAGE, coverage_logits

LOCAL_PX = 16  # side of the squares whose plated area must come out right
NARROW_PX, NARROW_COUNTS = 9, 2.0  # gaps of less than this are narrow; what lies about them counts that much more
WRONG = 0.5  # a teacher this far off the truth is not followed there


def about_narrow_gaps(gold: Tensor) -> Tensor:
    """Where plating lies on both sides of a narrow gap: 1 in the gap and beside it, float (n, 1, h, w).

    Gaps between contacts are the first to fill up (Ronneberger et al., "U-Net", 2015, weigh gaps for that reason);
    what lies beside them counts as much, so that the area is not pulled down.
    """
    kind = {"kernel_size": NARROW_PX, "stride": 1, "padding": NARROW_PX // 2}
    closed = -functional.max_pool2d(-functional.max_pool2d(gold, **kind), **kind)
    return functional.max_pool2d((closed - gold > 0.5).float(), **kind)


def loss(outputs: Tensor, batch: CropBatch) -> Tensor:
    """Cross-entropy on plated shares, overlap, and local area; smaller terms for the two side outputs.

    Cross-entropy and the overlap with squared sums (Milletari et al., V-Net, 2016) are both least where prediction
    equals share, so neither pulls the area up or down. Cross-entropy counts more about narrow gaps. Where plating,
    its kind or boards are not known, outputs are free.
    """
    logits, gold = coverage_logits(outputs).float(), batch.gold
    counts = (batch.classes != NEITHER).float().unsqueeze(1)
    predicted = torch.sigmoid(logits)
    weight = counts * (1 + NARROW_COUNTS * about_narrow_gaps(gold))
    cross = (functional.binary_cross_entropy_with_logits(logits, gold, reduction="none") * weight).mean()
    p, t = predicted * counts, gold * counts
    overlap = 1 - (2 * (p * t).sum((1, 2, 3)) + 30) / ((p * p + t * t).sum((1, 2, 3)) + 30)
    squares_p, squares_t = functional.avg_pool2d(p, LOCAL_PX), functional.avg_pool2d(t, LOCAL_PX)
    local = ((squares_p - squares_t) ** 2 / (squares_t + 0.02)).mean()

    half = functional.avg_pool2d(batch.gold, 2)
    classes = batch.classes[:, ::2, ::2].unsqueeze(1)
    plated = ((half > 0.5) & (classes != UNKNOWN) & (classes != NEITHER)).float()
    finger = (classes == FINGER).float()
    kind = functional.binary_cross_entropy_with_logits(outputs[:, 4:5].float(), finger, reduction="none")
    kind = (kind * plated).sum() / (plated.sum() + 100)
    known = batch.board_known[:, :, ::2, ::2]
    board = functional.binary_cross_entropy_with_logits(
        outputs[:, 5:6].float(), batch.board[:, :, ::2, ::2], reduction="none"
    )
    board = (board * known).sum() / (known.sum() + 1)
    return 4 * cross + overlap.mean() + local + 0.2 * kind + 0.2 * board


def distance_to(teacher: Tensor, outputs: Tensor, batch: CropBatch) -> Tensor:
    """Distance of outputs (n, 6, h / 2, w / 2) from a teacher's where it is right: cross-entropy above its least.

    It keeps the teacher's knowledge of crops that are ``familiar`` to it (Hinton et al., "Distilling the knowledge in
    a neural network", 2015; Li and Hoiem, "Learning without forgetting", 2016).
    """
    wanted = torch.sigmoid(coverage_logits(teacher).float())
    right = ((wanted - batch.gold).abs() < WRONG) & (batch.classes != NEITHER).unsqueeze(1)
    counts = right.float() * batch.familiar
    logits = coverage_logits(outputs).float()
    apart = functional.binary_cross_entropy_with_logits(logits, wanted, reduction="none")
    apart = apart - functional.binary_cross_entropy(wanted, wanted, reduction="none")
    sides = torch.sigmoid(teacher[:, COVERAGE:].float())
    beside = functional.binary_cross_entropy_with_logits(outputs[:, COVERAGE:].float(), sides, reduction="none")
    beside = (beside - functional.binary_cross_entropy(sides, sides, reduction="none")) * batch.familiar
    return 4 * (apart * counts).mean() + 0.1 * beside.mean()
