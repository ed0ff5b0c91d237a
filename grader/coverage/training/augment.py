"""Effects of cameras, light, age and other designs on pictures, applied to a whole batch on the device.

Colours are changed by class in linear light, where a pixel shared by two materials mixes as in a camera; light and
camera follow, then the phone's processing. Every random number comes from the given generator.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import torch
from torch import Tensor
from torch.nn import functional

from .classes import BACKGROUND, COPPER, LAMINATE, MASK, PART, TIN
from .dataset import CropBatch
from .draw import Draw, luma, mix, srgb_to_linear, to_srgb
from .looks import plating_as_it_can_look, warm_light

MILD = 0.35  # share of crops
Effects = tuple[Tensor, Tensor, Tensor]


def _share_of(batch: CropBatch, number: int) -> Tensor:
    """Share of a class in each pixel (n, 1, s, s); plating aside, from class numbers smoothed over 3 × 3."""
    hard = (batch.classes == number).float().unsqueeze(1)
    return functional.avg_pool2d(functional.pad(hard, (1, 1, 1, 1), mode="replicate"), 3, 1) * (1 - batch.gold)


def _recolour(x: Tensor, share: Tensor, colour: Tensor) -> Tensor:
    """Gain (n, 3, 1, 1) that brings a class's mean colour to ``colour``, texture and shading kept."""
    mean = (x * share).sum((2, 3), keepdim=True) / (share.sum((2, 3), keepdim=True) + 1)
    return (colour / (mean + 0.02)).clamp(0.05, 12)


def materials(x: Tensor, batch: CropBatch, draw: Draw, mild: Tensor) -> tuple[Tensor, Tensor]:
    """Other designs and other ages, in linear light: the picture, and the plated share that is left.

    Where ``mild`` (n, 1, 1, 1) is 1, everything stays as it is.
    """
    gold, size = batch.gold, x.shape[-1]
    gain = torch.ones_like(x)

    def apply(share: Tensor, factor: Tensor) -> None:
        nonlocal gain
        gain = gain + share * (factor - 1)

    one = torch.ones(1, device=x.device)
    for number, chance, warm_chance in ((LAMINATE, 0.4, 0.85), (MASK, 0.35, 0.45), (BACKGROUND, 0.4, 0.6)):
        share = _share_of(batch, number)
        wanted = mix(draw.chance(warm_chance), draw.colour(warm=True), draw.colour(warm=False))
        other = torch.exp(draw.normal(0.25) + draw.normal(0.08, 3))
        apply(share, mix(draw.chance(chance), _recolour(x, share, wanted), other))
    warm_tin = torch.cat([draw.uniform(0.95, 1.05), draw.uniform(0.86, 1.0), draw.uniform(0.66, 1.0)], 1)
    apply(_share_of(batch, TIN), mix(draw.chance(0.5), warm_tin, one) * draw.uniform(0.6, 1.25))
    apply(_share_of(batch, COPPER), torch.exp(draw.normal(0.25) + draw.normal(0.08, 3)))
    parts = _share_of(batch, PART)
    apply(parts, torch.exp(draw.normal(0.2) + draw.normal(0.12, 3)))
    # some parts yellow: tantalum capacitors, lenses, relays; a network that sees few takes them for plating
    yellow = parts * torch.sigmoid(12 * draw.field(size, 12)) * draw.chance(0.4)
    apply(yellow, _recolour(x, yellow, draw.colour(warm=True)))

    # plating: lighter, darker, paler, redder, tarnished in patches, blown out in patches
    tone = torch.exp(draw.normal(0.3) + torch.cat([0 * draw.normal(1), draw.normal(0.05), draw.normal(0.2)], 1))
    patch = torch.sigmoid(3 * draw.field(size, 6))
    brown = torch.cat([draw.uniform(0.3, 0.85), draw.uniform(0.22, 0.7), draw.uniform(0.15, 0.65)], 1)
    tone = tone * (1 + draw.chance(0.22) * patch * (brown - 1))
    tone = tone * (1 + draw.chance(0.15) * (1 - patch) * draw.uniform(0.5, 3))
    y = x * (gain + gold * (mix(draw.chance(0.75), tone, one) - 1))

    # plating gone: silver, copper or laminate where contacts were
    gone = draw.chance(0.12) * (1 - mild)
    which = draw.uniform(0, 1)
    silver = torch.cat([draw.uniform(0.9, 1.05), draw.uniform(0.86, 1.0), draw.uniform(0.72, 1.0)], 1)
    copper = torch.cat([draw.uniform(0.95, 1.05), draw.uniform(0.5, 0.68), draw.uniform(0.3, 0.5)], 1)
    left = torch.where(which < 0.7, silver, torch.where(which < 0.8, copper, draw.colour(warm=True) / 0.4))
    bare = luma(y) * left * draw.uniform(0.6, 1.2)
    y = y + gone * gold * (bare - y)
    return mix(mild, x, y), gold * (1 - gone)


def camera(x: Tensor, draw: Draw, mild: Tensor) -> Tensor:
    """White balance, exposure, uneven light, tone, saturation: linear → sRGB-encoded 0..1; a fifth where ``mild``."""
    size, much = x.shape[-1], 1 - 0.8 * mild
    cast = mix(draw.chance(0.75), draw.normal(0.10, 3), draw.normal(0.26, 3))
    ramp = torch.linspace(-1, 1, size, device=x.device)
    slope = draw.normal(0.25) * ramp.view(1, 1, 1, -1) + draw.normal(0.25) * ramp.view(1, 1, -1, 1)
    x = x * torch.exp(much * (cast + math.log(2) * (draw.uniform(-1.1, 0.8) + slope)))
    shoulder = torch.where(x < 0.6, x, 0.6 + 0.4 * (1 - torch.exp(-(x - 0.6).clamp(min=0) / 0.4)))
    y = to_srgb(mix(draw.chance(0.5), shoulder, x).clamp(0, 1))
    y = y.clamp(min=1e-4) ** torch.exp(much * mix(draw.chance(0.6), draw.normal(0.12), 0 * draw.normal(1)))
    grey, one = y.mean(1, keepdim=True), torch.ones(1, device=x.device)
    return (grey + (y - grey) * (1 + much * (mix(draw.chance(0.5), draw.uniform(0.55, 1.45), one) - 1))).clamp(0, 1)


def blur(x: Tensor, draw: Draw) -> Tensor:
    """Defocus or shake: a Gaussian of its own width along and across a random direction for each picture."""
    reach = torch.arange(-4, 5, device=x.device, dtype=x.dtype)
    dy, dx = torch.meshgrid(reach, reach, indexing="ij")
    angle = draw.uniform(0, math.pi)
    blurred = draw.chance(0.45)
    along, across = 0.25 + blurred * draw.uniform(0, 1.3), 0.25 + blurred * draw.uniform(0, 0.8)
    u, v = dx * angle.cos() + dy * angle.sin(), dy * angle.cos() - dx * angle.sin()
    kernel = torch.exp(-0.5 * ((u / along) ** 2 + (v / across) ** 2))
    kernel = (kernel / kernel.sum((2, 3), keepdim=True)).repeat_interleave(3, 0)
    n, _, h, w = x.shape
    padded = functional.pad(x, (4, 4, 4, 4), mode="replicate").reshape(1, 3 * n, h + 8, w + 8)
    return functional.conv2d(padded, kernel, groups=3 * n).view(n, 3, h, w)


def noise_and_sharpening(x: Tensor, draw: Draw) -> Tensor:
    """Sensor noise, fine and blotchy, then unsharp masking."""
    h, w = x.shape[2:]
    noisy, fine = draw.chance(0.6), draw.noise * draw.uniform(0, 0.03)
    small = draw.noise.flip(2, 3)[:, :, : h // 3, : w // 3] * draw.uniform(0, 0.02)  # far from where it is used above
    x = x + noisy * (fine + functional.interpolate(small, size=(h, w), mode="bilinear", align_corners=False))
    soft = functional.avg_pool2d(functional.pad(x, (1, 1, 1, 1), mode="replicate"), 3, 1)
    return (x + draw.chance(0.35) * draw.uniform(0.2, 1.2) * (x - soft)).clamp(0, 1)


# quantisation of luminance and colour difference at quality 50: ITU-T T.81, tables K.1 and K.2
K1 = (
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)
K2 = (
    (17, 18, 24, 47, 99, 99, 99, 99),
    (18, 21, 26, 66, 99, 99, 99, 99),
    (24, 26, 56, 99, 99, 99, 99, 99),
    (47, 66, 99, 99, 99, 99, 99, 99),
    *((99,) * 8,) * 4,
)
YCC = ((0.299, 0.587, 0.114), (-0.168736, -0.331264, 0.5), (0.5, -0.418688, -0.081312))


def _quantise(plane: Tensor, table: tuple[tuple[int, ...], ...], scale: Tensor) -> Tensor:
    """One plane (n, 1, h, w), sides multiples of 8, through the 8 × 8 cosine transform and back."""
    n, _, h, w = plane.shape
    k = torch.arange(8, device=plane.device, dtype=plane.dtype)
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) / 2
    basis[0] /= math.sqrt(2)
    both = torch.kron(basis, basis)  # along and across in one
    blocks = plane.view(n, h // 8, 8, w // 8, 8).transpose(2, 3).reshape(n, -1, 64)
    step = (torch.tensor(table, device=plane.device, dtype=plane.dtype).view(1, 1, 64) * scale.view(n, 1, 1)).clamp(
        min=1
    )
    back = torch.round(blocks @ both.T / step) * step @ both
    return back.view(n, h // 8, w // 8, 8, 8).transpose(2, 3).reshape(n, 1, h, w)


def jpeg_losses(x: Tensor, draw: Draw) -> Tensor:
    """Losses of JPEG at quality 40 to 95 with halved colour (without entropy coding, which loses nothing)."""
    quality = draw.uniform(40, 95)
    scale = torch.where(quality < 50, 50 / quality, 2 - quality / 50)
    ycc = torch.einsum("dc,nchw->ndhw", torch.tensor(YCC, device=x.device), x * 255)
    y = _quantise(ycc[:, :1] - 128, K1, scale) + 128
    chroma = functional.avg_pool2d(ycc[:, 1:], 2)
    chroma = torch.cat([_quantise(chroma[:, i : i + 1], K2, scale) for i in (0, 1)], 1)
    full = torch.cat([y, functional.interpolate(chroma, scale_factor=2.0, mode="bilinear", align_corners=False)], 1)
    back = torch.linalg.inv(torch.tensor(YCC, device=x.device))
    return mix(draw.chance(0.6), torch.einsum("dc,nchw->ndhw", back, full) / 255, x).clamp(0, 1)


def effects(batch: CropBatch, uniform: Tensor, normal: Tensor, noise: Tensor) -> Effects:
    """Picture, plated share and ``familiar`` as the random numbers of ``Draw`` have them; may be compiled."""
    draw = Draw(uniform, normal, noise)
    mild = draw.chance(MILD)
    linear, gold = materials(srgb_to_linear(batch.rgb), batch, draw, mild)
    linear, new = plating_as_it_can_look(linear, gold, _share_of(batch, LAMINATE), draw, 1 - mild)
    linear = warm_light(linear, gold, draw, 1 - mild)
    rgb = jpeg_losses(noise_and_sharpening(blur(camera(linear, draw, mild), draw), draw), draw)
    return rgb, gold, batch.familiar * (1 - new)


def augment(batch: CropBatch, generator: torch.Generator, effects: Callable[..., Effects] = effects) -> CropBatch:
    """The batch as other boards and other cameras would have shown it. Crop sides must be multiples of 16.

    ``MILD`` of the crops keep their materials and nearly their light. The generator is on the batch's device;
    ``effects`` may be given compiled.
    """
    rgb, gold, familiar = effects(batch, *Draw.tapes(len(batch.rgb), batch.rgb.shape[-1], generator))
    return dataclasses.replace(batch, rgb=rgb, gold=gold, familiar=familiar)
