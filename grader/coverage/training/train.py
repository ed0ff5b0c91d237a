"""Trains the coverage model: ``python -m grader.coverage.training.train DATA... --imagenet LITE0.pth``.

Renders and photographs may lie in the same or in several folders (see ``dataset``); ``--shares`` says how much of a
batch is drawn from renders, other renders, photographs with edge contacts, with pads, and without gold. ``--start``
goes on from weights; with ``--hold`` what they, or ``--teacher``, say of renders is held where it is right, but not
of the renders of ``--others``, which look unlike those that these weights have seen. Weights whose normalisation is
folded into their convolutions keep theirs as it is with ``--frozen``.

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
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import torch

from .archives import as_folders
from .augment import augment, effects
from .dataset import CropBatch, Frame
from .loss import distance_to, loss
from .model import DECODER, CoverageNet, fold, load_imagenet, network_input
from .pools import POOLS, SHARES, Pictures, as_read, found, sample
from .weights import read_weights

log = logging.getLogger("training")
STEPS = 6000
REPORTED = 60  # held-out pictures of each kind from which interim figures are computed


def held_out_scores(model: CoverageNet, frames: Sequence[Frame]) -> dict[str, float]:
    """Error and IoU over whole pictures as the segmenter reads them; false share where nothing is plated; in %."""
    model.eval()
    errors, overlaps, false = [], [], []
    for frame in frames:
        rgb, gold, counts = as_read(frame)
        got, true = found(model, rgb)[counts], gold[counts]
        if float(true.sum()) < 50:
            false.append(100 * float(got.mean()))
            continue
        errors.append(100 * float((got.sum() - true.sum()) / true.sum()))
        union = ((got >= 0.5) | (true >= 0.5)).sum()
        overlaps.append(float(((got >= 0.5) & (true >= 0.5)).sum() / union) if union else 1.0)
    result: dict[str, float] = {}
    if false:
        result |= {"bare": len(false), "false_mean": float(np.mean(false)), "false_worst": float(np.max(false))}
    if errors:
        off = np.abs(errors)
        result |= {
            "plated": len(errors),
            "error_median": float(np.median(off)),
            "error_p90": float(np.percentile(off, 90)),
            "bias": float(np.mean(errors)),
            "iou_mean": float(np.mean(overlaps)),
        }
    return result


def log_scores(model: CoverageNet, held: Sequence[Frame]) -> None:
    """Log the figures of the held-out pictures, kind by kind."""
    for name, kinds in POOLS.items():
        of_kind = {
            k: round(v, 3) for k, v in held_out_scores(model, [f for f in held if f.kind in kinds][:REPORTED]).items()
        }
        log.info("held out, %s: %s", name, json.dumps(of_kind))


def ahead(make: Callable[[], CropBatch], device: torch.device) -> Iterator[CropBatch]:
    """Batches without end, each made on its own stream during the training on the batch before."""
    stream = torch.cuda.Stream(device) if device.type == "cuda" else None

    def one() -> CropBatch:
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
            if stream:  # so that its memory is not reused before the step that reads it is done
                for plane in vars(batch).values():
                    plane.record_stream(torch.cuda.current_stream(device))
            yield batch


def _rate(progress: float, peak: float) -> float:
    """Warm-up over the first 3 %, then a half cosine."""
    return peak * (progress / 0.03 if progress < 0.03 else 0.5 * (1 + math.cos(math.pi * min(progress, 1.0))))


def _model(options: argparse.Namespace) -> CoverageNet:
    model = CoverageNet(options.decoder)
    if options.imagenet:
        log.info("%d tensors from ImageNet", load_imagenet(model, options.imagenet))
    if options.start:
        model.load_state_dict(read_weights(options.start))
    return model


def _optimiser(model: CoverageNet) -> torch.optim.Optimizer:
    decay = [p for p in model.parameters() if p.ndim > 1]
    plain = [p for p in model.parameters() if p.ndim <= 1]
    return torch.optim.AdamW([{"params": decay, "weight_decay": 0.02}, {"params": plain, "weight_decay": 0.0}])


@torch.no_grad()
def _follow(average: CoverageNet, model: CoverageNet, step: int) -> None:
    """Move the averaged weights towards the present ones."""
    keep = min(0.999, 1 - 1 / (step / 10 + 1))
    torch._foreach_lerp_(list(average.parameters()), list(model.parameters()), 1 - keep)
    for a, b in zip(average.buffers(), model.buffers(), strict=True):
        a.copy_(b)


def _save(model: CoverageNet, path: Path) -> None:
    torch.save({k: v.cpu() for k, v in model.state_dict().items()}, path)


def train(options: argparse.Namespace) -> CoverageNet:
    """Run the training; return the model with the averaged weights."""
    torch.manual_seed(options.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True  # all batches have one size
    rng = np.random.default_rng(options.seed)
    generator = torch.Generator(device).manual_seed(options.seed)
    start = time.monotonic()
    pictures = Pictures(options.data, device, options.most, options.others)
    pictures.read()
    log.info("%s, %d held out, %.0f s", pictures.counts(), len(pictures.held), time.monotonic() - start)

    model = _model(options).to(device, memory_format=torch.channels_last)
    average, teacher = copy.deepcopy(model), copy.deepcopy(model).eval()
    if options.teacher:
        teacher.load_state_dict(read_weights(options.teacher))
    if options.start:
        pictures.look_where_wrong(teacher)
    if options.growing:
        threading.Thread(target=pictures.follow, daemon=True).start()
    model.train()
    if options.frozen:
        fold(model)
        fold(teacher)
    optimiser = _optimiser(model)

    changed = torch.compile(effects, fullgraph=True, dynamic=False) if options.compile else effects

    def make() -> CropBatch:
        return augment(sample(pictures.pools, options.shares, rng, options.batch, options.crop), generator, changed)

    batches = ahead(make, device)
    steps = options.steps or (STEPS if math.isinf(options.minutes) else math.inf)
    start, step, progress, kept = time.monotonic(), 0, 0.0, 0
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
        if options.hold:
            with torch.no_grad(), torch.autocast(device.type, dtype=torch.bfloat16):
                wanted = teacher(inputs)
            value = value + options.hold * distance_to(wanted, outputs, batch)
        optimiser.zero_grad(set_to_none=True)
        value.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
        optimiser.step()
        step += 1
        _follow(average, model, step)
        if step % options.report == 0:
            log.info("step %d, %.1f min, %s, loss %.4f", step, elapsed, pictures.counts(), value.item())
            _save(average, options.out)
        if kept < options.snapshots and progress * (options.snapshots + 1) >= kept + 1:
            kept += 1
            _save(average, options.out.with_stem(f"{options.out.stem}-{kept}"))
            log_scores(average, pictures.held)
    log.info("%d steps", step)
    log_scores(average, pictures.held)
    return average


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("data", nargs="+", type=Path, help="folders; archives of corrections (.zip)")
    ask.add_argument("--others", nargs="+", type=Path, default=[], help="folders of renders of another kind")
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
    ask.add_argument("--start", type=Path, help="weights to go on from: .pt, or .onnx with --frozen")
    ask.add_argument("--frozen", action="store_true", help="leave normalisation as the weights to go on from have it")
    ask.add_argument("--hold", type=float, default=0.0, help="weight of the distance to what weights say of renders")
    ask.add_argument("--teacher", type=Path, help="weights to hold to in place of those to go on from")
    ask.add_argument("--shares", type=float, nargs=len(POOLS), default=SHARES, help=", ".join(POOLS))
    ask.add_argument("--snapshots", type=int, default=0, help="files of the averaged weights on the way: OUT-1.pt …")
    ask.add_argument(
        "--compile", action="store_true", help="compile the augmentation: a minute once, then 4 × as fast"
    )
    ask.add_argument("--report", type=int, default=200)
    options = ask.parse_args()
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    with tempfile.TemporaryDirectory() as unpacked:
        options.data = as_folders(options.data, Path(unpacked))
        model = train(options)
    _save(model, options.out)


if __name__ == "__main__":
    main()
