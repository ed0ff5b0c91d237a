"""Trains the coverage model: ``python -m grader.coverage.training.train DATA... --imagenet LITE0.pth``.

The course of training (crops, augmentation, initial decoder) follows from ``--seed`` and ``--steps``; sums on a GPU
may still differ in their last bits. ``--minutes`` lays the learning-rate schedule over a time instead, or ends a run
early and shortens the schedule to fit; ``--until`` ends it early and leaves the schedule as it is. With ``--growing``
pictures that arrive in the folders meanwhile join in: then the course depends on when they arrive.
"""

from __future__ import annotations

import argparse
import copy
import json
import logging
import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from .augment import augment
from .dataset import BARREL, FINGER, UNKNOWN, Batch, Frame, held_out, read_folders, sample
from .model import DECODER, STRIDE, CoverageNet, coverage_logits, load_imagenet

log = logging.getLogger("training")
MEAN, SPREAD = 127.0, 128.0  # of 8-bit values, as the ImageNet weights expect them
STEPS = 6000
LOCAL_PX = 16  # side of the squares whose plated area must come out right


def network_input(rgb: Tensor) -> Tensor:
    """SRGB-encoded 0..1 → what the network reads."""
    return (rgb * 255 - MEAN) / SPREAD


def loss(outputs: Tensor, batch: Batch) -> Tensor:
    """Cross-entropy on plated shares, overlap, and local area; smaller terms for the two side outputs.

    Cross-entropy and the overlap with squared sums (Milletari et al., V-Net, 2016) are both least where prediction
    equals share, so neither pulls the area up or down.
    """
    logits, gold = coverage_logits(outputs).float(), batch.gold
    counts = (batch.classes != BARREL).float().unsqueeze(1)
    predicted = torch.sigmoid(logits)
    cross = (functional.binary_cross_entropy_with_logits(logits, gold, reduction="none") * counts).mean()
    p, t = predicted * counts, gold * counts
    overlap = 1 - (2 * (p * t).sum((1, 2, 3)) + 30) / ((p * p + t * t).sum((1, 2, 3)) + 30)
    squares_p, squares_t = functional.avg_pool2d(p, LOCAL_PX), functional.avg_pool2d(t, LOCAL_PX)
    local = ((squares_p - squares_t) ** 2 / (squares_t + 0.02)).mean()

    half = functional.avg_pool2d(batch.gold, 2)
    classes = batch.classes[:, ::2, ::2].unsqueeze(1)
    plated = ((half > 0.5) & (classes != UNKNOWN)).float()
    finger = (classes == FINGER).float()
    kind = functional.binary_cross_entropy_with_logits(outputs[:, 4:5].float(), finger, reduction="none")
    kind = (kind * plated).sum() / (plated.sum() + 100)
    board = functional.binary_cross_entropy_with_logits(outputs[:, 5:6].float(), batch.board[:, :, ::2, ::2])
    return 4 * cross + overlap.mean() + local + 0.2 * kind + 0.2 * board


@torch.no_grad()
def evaluate(model: CoverageNet, frames: Sequence[Frame], level: int) -> dict[str, float]:
    """Figures over whole pictures at one pyramid level: error and IoU, and false share where nothing is plated."""
    model.eval()
    errors, overlaps, false = [], [], []
    for frame in frames:
        planes = frame.levels[level].float() / 255
        height, width = planes.shape[1] // STRIDE * STRIDE, planes.shape[2] // STRIDE * STRIDE
        planes = planes[:, :height, :width]
        with torch.autocast(planes.device.type, dtype=torch.bfloat16):
            outputs = model(network_input(planes[None, :3]))
        got = torch.sigmoid(coverage_logits(outputs).float())[0, 0]
        true = planes[3]
        if float(true.sum()) < 50:
            false.append(100 * float(got.mean()))
            continue
        errors.append(100 * float((got.sum() - true.sum()) / true.sum()))
        union = ((got >= 0.5) | (true >= 0.5)).sum()
        overlaps.append(float(((got >= 0.5) & (true >= 0.5)).sum() / union) if union else 1.0)
    model.train()
    e = np.abs(errors)
    bare = {"false_mean": float(np.mean(false)), "false_worst": float(np.max(false))} if false else {}
    if not errors:
        return {"bare": len(false), **bare}
    return {
        "bare": len(false),
        **bare,
        "plated": len(errors),
        "error_median": float(np.median(e)),
        "error_p90": float(np.percentile(e, 90)),
        "bias": float(np.mean(errors)),
        "iou_mean": float(np.mean(overlaps)),
        "iou_p10": float(np.percentile(overlaps, 10)),
    }


class Pool:
    """The pictures of some folders, trained on and held out; ``follow`` keeps adding those that arrive.

    Lists only ever grow, so a training step may draw from them while another thread adds.
    """

    def __init__(self, folders: Sequence[Path], device: torch.device, most: int) -> None:
        self._folders, self._device, self._most = folders, device, most
        self.frames: list[Frame] = []
        self.held: list[Frame] = []
        self._known: set[str] = set()

    def read(self, workers: int = 16) -> None:
        """Adds what is new, at most as much as there is room for."""
        for frame in read_folders(self._folders, self._device, self._known, self._most - len(self._known), workers):
            self._known.add(frame.name)
            (self.held if held_out(frame.name) else self.frames).append(frame)

    def follow(self, every_s: float = 15.0) -> None:
        """Reads on until there is no more room."""
        while len(self._known) < self._most:
            time.sleep(every_s)
            self.read(workers=2)


def ahead(make: Callable[[], Batch], device: torch.device) -> Iterator[Batch]:
    """Batches without end, each made on a stream of its own while the one before is trained on."""
    stream = torch.cuda.Stream(device) if device.type == "cuda" else None

    def one() -> Batch:
        with torch.no_grad(), torch.cuda.stream(stream) if stream else nullcontext():
            batch = make()
        if stream:
            stream.synchronize()
        return batch

    with ThreadPoolExecutor(1) as maker:
        following = maker.submit(one)
        while True:
            batch = following.result()
            following = maker.submit(one)
            if stream:  # so that its memory is not given away before the step that reads it is done
                for plane in (batch.rgb, batch.gold, batch.board, batch.classes):
                    plane.record_stream(torch.cuda.current_stream(device))
            yield batch


def _rate(progress: float, peak: float) -> float:
    """Warm-up over the first 3 %, then a half cosine."""
    return peak * (progress / 0.03 if progress < 0.03 else 0.5 * (1 + math.cos(math.pi * min(progress, 1.0))))


def train(options: argparse.Namespace) -> CoverageNet:
    """Runs the training; returns the averaged weights' model."""
    torch.manual_seed(options.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True  # all batches have one size
    rng = np.random.default_rng(options.seed)
    generator = torch.Generator(device).manual_seed(options.seed)
    start = time.monotonic()
    pool = Pool(options.data, device, options.most)
    pool.read()
    frames, held = pool.frames, pool.held
    log.info("%d to train, %d held out, read in %.0f s", len(frames), len(held), time.monotonic() - start)
    if options.growing:
        threading.Thread(target=pool.follow, daemon=True).start()

    model = CoverageNet(options.decoder)
    if options.imagenet:
        log.info("%d tensors from ImageNet", load_imagenet(model, options.imagenet))
    if options.start:
        model.load_state_dict(torch.load(options.start, map_location="cpu", weights_only=True))
    model = model.to(device, memory_format=torch.channels_last).train()
    average = copy.deepcopy(model)
    decay = [p for p in model.parameters() if p.ndim > 1]
    plain = [p for p in model.parameters() if p.ndim <= 1]
    optimiser = torch.optim.AdamW([{"params": decay, "weight_decay": 0.02}, {"params": plain, "weight_decay": 0.0}])

    batches = ahead(lambda: augment(sample(frames, rng, options.batch, options.crop), generator), device)
    steps = options.steps or (STEPS if math.isinf(options.minutes) else math.inf)
    start, step, progress = time.monotonic(), 0, 0.0
    while progress < 1 and step < options.until:
        elapsed = (time.monotonic() - start) / 60
        progress = max(step / steps, elapsed / options.minutes)
        for group in optimiser.param_groups:
            group["lr"] = _rate(progress, options.rate)
        batch = next(batches)
        inputs = network_input(batch.rgb).contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, dtype=torch.bfloat16):
            outputs = model(inputs)
        value = loss(outputs, batch)
        optimiser.zero_grad(set_to_none=True)
        value.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        keep = min(0.999, 1 - 1 / (step / 10 + 1))
        with torch.no_grad():
            torch._foreach_lerp_(list(average.parameters()), list(model.parameters()), 1 - keep)
            for a, b in zip(average.buffers(), model.buffers(), strict=True):
                a.copy_(b)
        if step % options.report == 0:
            log.info("step %d, %.1f min, %d pictures, loss %.4f", step, elapsed, len(frames), value.item())
            torch.save({k: v.cpu() for k, v in average.state_dict().items()}, options.out)
    log.info("%d steps", step)
    for level in (0, 1):
        figures = evaluate(average, held, level)
        log.info("held out at 1/%d: %s", 2**level, json.dumps({k: round(v, 3) for k, v in figures.items()}))
    return average


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("data", nargs="+", type=Path)
    ask.add_argument("--imagenet", type=Path, help="Lite0 checkpoint; without it the encoder starts at random")
    ask.add_argument("--out", type=Path, default=Path("coverage.pt"))
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--decoder", type=int, nargs=5, default=DECODER, help="channels at strides 32, 16, 8, 4, 2")
    ask.add_argument("--steps", type=int, help="of the whole schedule; without it or --minutes, 6000")
    ask.add_argument("--until", type=int, default=10**9, help="stop at this step of the schedule")
    ask.add_argument("--minutes", type=float, default=math.inf)
    ask.add_argument("--batch", type=int, default=32)
    ask.add_argument("--crop", type=int, default=512)
    ask.add_argument("--rate", type=float, default=2e-3)
    ask.add_argument(
        "--growing", action="store_true", help="let pictures join that arrive meanwhile, each after its masks"
    )
    ask.add_argument("--most", type=int, default=4000, help="pictures held at most (13 MB each at 1600 × 1200)")
    ask.add_argument("--start", type=Path, help="weights to go on from")
    ask.add_argument("--report", type=int, default=200)
    options = ask.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    model = train(options)
    torch.save({k: v.cpu() for k, v in model.state_dict().items()}, options.out)


if __name__ == "__main__":
    main()
