"""The network: an EfficientNet-Lite0 encoder without its last blocks under a light U-Net decoder (1.5 M weights).

Encoder after Tan and Le, "EfficientNet: Rethinking Model Scaling for Convolutional Neural Networks" (2019), Lite
variant: ReLU6, no squeeze-and-excitation. Layer names follow the published ImageNet checkpoint, so it loads as it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

# (kernel, stride, expansion, channels in, channels out) of Lite0's first thirteen blocks
BLOCKS = (
    (3, 1, 1, 32, 16),
    (3, 2, 6, 16, 24),
    (3, 1, 6, 24, 24),
    (5, 2, 6, 24, 40),
    (5, 1, 6, 40, 40),
    (3, 2, 6, 40, 80),
    (3, 1, 6, 80, 80),
    (3, 1, 6, 80, 80),
    (5, 1, 6, 80, 112),
    (5, 1, 6, 112, 112),
    (5, 1, 6, 112, 112),
    (5, 2, 6, 112, 192),
    (5, 1, 6, 192, 192),
)
TAPS = (0, 2, 4, 10, 12)  # blocks whose outputs (strides 2, 4, 8, 16, 32) the decoder reads
DECODER = (64, 64, 64, 32, 32)  # channels at strides 32, 16, 8, 4, 2
STRIDE = 32  # the sides of the network's input are multiples of this
COVERAGE, OUTPUTS = 4, 6  # at stride 2: four sub-pixels of coverage; then edge contact against pad, board
MEAN, SPREAD = 127.0, 128.0  # of 8-bit values, as the ImageNet weights expect them
BN = {"eps": 1e-3, "momentum": 0.01}


class Norm(nn.BatchNorm2d):
    """Batch normalisation.

    Attributes:
        folded: whether it is computed within the convolution before it, which it may be while it stays as it is;
            apart, normalisation takes half of a training step.
    """

    folded = False


def _normed(conv: nn.Conv2d, norm: Norm, x: Tensor) -> Tensor:
    """A convolution and the normalisation after it."""
    if not norm.folded:
        return norm(conv(x))
    factor = norm.weight * torch.rsqrt(norm.running_var + norm.eps)
    weight, bias = conv.weight * factor.view(-1, 1, 1, 1), norm.bias - norm.running_mean * factor
    return functional.conv2d(x, weight, bias, conv.stride, conv.padding, conv.dilation, conv.groups)


def fold(model: nn.Module) -> None:
    """Leave all normalisation as it is from now on, and compute it within convolutions."""
    for part in model.modules():
        if isinstance(part, Norm):
            part.eval()
            part.folded = True


class InvertedBottleneck(nn.Module):
    """Inverted bottleneck."""

    def __init__(self, kernel: int, stride: int, expansion: int, inside: int, outside: int) -> None:
        super().__init__()
        wide = inside * expansion
        self.expand = expansion > 1
        self.skip = stride == 1 and inside == outside
        if self.expand:
            self._expand_conv = nn.Conv2d(inside, wide, 1, bias=False)
            self._bn0 = Norm(wide, **BN)
        self._depthwise_conv = nn.Conv2d(wide, wide, kernel, stride, kernel // 2, groups=wide, bias=False)
        self._bn1 = Norm(wide, **BN)
        self._project_conv = nn.Conv2d(wide, outside, 1, bias=False)
        self._bn2 = Norm(outside, **BN)

    def forward(self, x: Tensor) -> Tensor:
        """Features (n, inside, h, w) → (n, outside, h / stride, w / stride)."""
        y = functional.relu6(_normed(self._expand_conv, self._bn0, x)) if self.expand else x
        y = functional.relu6(_normed(self._depthwise_conv, self._bn1, y))
        y = _normed(self._project_conv, self._bn2, y)
        return x + y if self.skip else y


class Separable(nn.Sequential):
    """Depthwise 3 × 3, then pointwise, with normalisation after each."""

    def __init__(self, inside: int, outside: int) -> None:
        super().__init__(
            nn.Conv2d(inside, inside, 3, 1, 1, groups=inside, bias=False),
            Norm(inside),
            nn.Conv2d(inside, outside, 1, bias=False),
            Norm(outside),
            nn.ReLU6(inplace=True),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Features (n, inside, h, w) → (n, outside, h, w)."""
        depthwise, first, pointwise, second, activation = self
        return activation(_normed(pointwise, second, _normed(depthwise, first, x)))


class CoverageNet(nn.Module):
    """Image (n, 3, h, w), h and w multiples of 32 → logits (n, 6, h / 2, w / 2)."""

    def __init__(self, decoder: Sequence[int] = DECODER) -> None:
        super().__init__()
        self._conv_stem = nn.Conv2d(3, 32, 3, 2, 1, bias=False)
        self._bn0 = Norm(32, **BN)
        self._blocks = nn.ModuleList(InvertedBottleneck(*b) for b in BLOCKS)
        self.detail = nn.Sequential(nn.Conv2d(3, 16, 4, 2, 1), nn.ReLU6(inplace=True))
        d32, d16, d8, d4, d2 = decoder
        self.up32 = Separable(192, d32)
        self.up16 = Separable(d32 + 112, d16)
        self.up8 = Separable(d16 + 40, d8)
        self.up4 = Separable(d8 + 24, d4)
        self.up2 = Separable(d4 + 16 + 16, d2)
        self.head = nn.Sequential(Separable(d2, d2), nn.Conv2d(d2, OUTPUTS, 1))
        nn.init.constant_(self.head[1].bias[:COVERAGE], -3.0)  # plating is rare: start from about 5 %

    def forward(self, image: Tensor) -> Tensor:
        """See the class."""
        x = functional.relu6(_normed(self._conv_stem, self._bn0, image))
        taps = []
        for i, block in enumerate(self._blocks):
            x = block(x)
            if i in TAPS:
                taps.append(x)
        s2, s4, s8, s16, s32 = taps
        y = self.up32(s32)
        finest = torch.cat([s2, self.detail(image)], 1)
        for merge, side in ((self.up16, s16), (self.up8, s8), (self.up4, s4), (self.up2, finest)):
            y = merge(torch.cat([functional.interpolate(y, scale_factor=2.0, mode="nearest"), side], 1))
        return self.head(y)


def network_input(rgb: Tensor) -> Tensor:
    """SRGB-encoded 0..1 → input of the network."""
    return (rgb * 255 - MEAN) / SPREAD


def coverage_logits(outputs: Tensor) -> Tensor:
    """Coverage logits (n, 1, h, w) at the picture's own resolution."""
    return functional.pixel_shuffle(outputs[:, :COVERAGE], 2)


def load_imagenet(model: CoverageNet, checkpoint: Path) -> int:
    """Start the encoder from Lite0's ImageNet weights; return the number of tensors taken."""
    state = torch.load(checkpoint, map_location="cpu", weights_only=True)
    own = model.state_dict()
    taken = {k: v for k, v in state.items() if k in own and own[k].shape == v.shape}
    model.load_state_dict(taken, strict=False)
    return len(taken)


def decoder_of(state: Mapping[str, Tensor]) -> tuple[int, ...]:
    """The decoder's channels, read from trained weights."""
    return tuple(len(state[f"{name}.2.weight"]) for name in ("up32", "up16", "up8", "up4", "up2"))
