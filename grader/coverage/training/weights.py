"""Weights from a file: as written by training, or converted back from the shipped files.

In an ONNX file, normalisation is folded into the convolutions, and the factor 6 of ``fuse`` into those that read an
activation. After conversion, each normalisation adds its convolution's bias and changes nothing else: it must stay
as it is in training (``--frozen``).
"""

from __future__ import annotations

from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from .fuse import unfuse_relu6
from .model import STRIDE, CoverageNet
from .parts import read_parts


def read_weights(path: Path) -> dict[str, Tensor]:
    """The state of a ``CoverageNet``: from a ``.pt`` file, an exported ``.onnx`` file, or a folder with its parts.

    Exported weights must have the shipped decoder's channels.

    Raises:
        ValueError: the ONNX file, or the folder, holds another network.
    """
    if path.suffix == ".pt":
        return dict(torch.load(path, map_location="cpu", weights_only=True))
    graph = unfuse_relu6(read_parts(path) if path.is_dir() else onnx.load(path)).graph
    stored = {w.name: torch.from_numpy(numpy_helper.to_array(w).copy()) for w in graph.initializer}
    named = {
        _layer(node.name): [stored[name] for name in node.input[1:]] for node in graph.node if node.op_type == "Conv"
    }
    model = CoverageNet()
    names = {part: name for name, part in model.named_modules()}
    layers = _in_order(model)
    found = [named.get(names[conv], []) for conv, _ in layers]
    if [tuple(f[0].shape) for f in found if f] != [tuple(conv.weight.shape) for conv, _ in layers]:
        raise ValueError(f"{path} holds another network than this")
    with torch.no_grad():
        for (weight, bias), (conv, norm) in zip(found, layers, strict=True):
            conv.weight.copy_(weight)
            if norm is None:
                conv.bias.copy_(bias)
                continue
            norm.weight.fill_(1.0)
            norm.bias.copy_(bias)
            norm.running_mean.zero_()
            norm.running_var.fill_(1.0 - norm.eps)
    return model.state_dict()


def _layer(node: str) -> str:
    """The layer's name in the model, from its node's: ``/head/head.0/head.0.2/Conv``, where parts repeat the last."""
    name = ""
    for part in node.strip("/").split("/")[:-1]:
        name = part if not name or part.startswith(f"{name}.") else f"{name}.{part}"
    return name


def _in_order(model: CoverageNet) -> list[tuple[nn.Conv2d, nn.BatchNorm2d | None]]:
    """Convolutions in the order in which they run, each with the normalisation after it."""
    ran: list[nn.Module] = []
    hooks = [
        part.register_forward_hook(lambda part, *_: ran.append(part))
        for part in model.modules()
        if isinstance(part, nn.Conv2d | nn.BatchNorm2d)
    ]
    with torch.no_grad():
        model.eval()(torch.zeros(1, 3, STRIDE, STRIDE))
    for hook in hooks:
        hook.remove()
    after = dict(zip(ran, [*ran[1:], None], strict=True))
    pairs = []
    for part in ran:
        following = after[part]
        if isinstance(part, nn.Conv2d):
            pairs.append((part, following if isinstance(following, nn.BatchNorm2d) else None))
    return pairs
