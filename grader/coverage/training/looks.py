"""Looks of plating in real photographs that the paint and light of renders do not show, in linear light.

Polished metal mirrors its surroundings, so that contacts come out black, red, green, pink or cream beside each other.
A row goes from brown to burnt out in one picture, gold can be darker than its laminate, old contacts are scratched.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from .draw import Draw, luma, mix

# Frequency of each look among crops that may change
MIRRORS, GOES_FROM_BROWN_TO_WHITE, DARKER_THAN_LAMINATE, SCRATCHED, WARM_LIGHT = 0.25, 0.15, 0.18, 0.12, 0.15
WARM_LIGHT_ON_BARE = 0.35  # where nothing is plated: pale tin under a lamp was taken for plating
# Normal reflectance of gold to red, green and blue of sRGB, from its measured optical constants (Johnson and Christy,
# "Optical constants of the noble metals", 1972)
GOLD = (1.00, 0.78, 0.34)
# Mirrored surroundings, reflected light relative to white: black, shade, red, green, blue, pink, cream, white, a lamp
SURROUNDINGS = (
    (0.02, 0.02, 0.02),
    (0.12, 0.12, 0.14),
    (0.55, 0.10, 0.08),
    (0.12, 0.38, 0.14),
    (0.12, 0.22, 0.55),
    (0.95, 0.50, 0.55),
    (0.95, 0.86, 0.66),
    (0.95, 0.95, 0.95),
    (2.50, 2.50, 2.50),
)
SCRATCHES = 14


def plating_as_it_can_look(
    x: Tensor, gold: Tensor, laminate: Tensor, draw: Draw, free: Tensor
) -> tuple[Tensor, Tensor]:
    """Change the looks of plating.

    Args:
        x: linear light (n, 3, s, s).
        gold: plated share (n, 1, s, s).
        laminate: share of bare laminate (n, 1, s, s), 0 where it is not known.
        draw: random numbers.
        free: (n, 1, 1, 1), 0 for crops that are to stay as they are.

    Returns:
        The picture, and the crops (n, 1, 1, 1) that now look unlike renders.
    """
    size = x.shape[-1]
    mirrors = draw.chance(MIRRORS) * free
    ramped = draw.chance(GOES_FROM_BROWN_TO_WHITE) * free
    darker = draw.chance(DARKER_THAN_LAMINATE) * free
    scratched = draw.chance(SCRATCHED) * free
    x = x + mirrors * gold * (_mirrored(x, gold, draw) - x)
    x = x * (1 + ramped * gold * (_ramp(draw, size) - 1))
    bright = torch.cat([draw.uniform(0.6, 1.0), draw.uniform(0.5, 0.9), draw.uniform(0.2, 0.6)], 1)
    x = x + darker * laminate * (_brought_to(x, laminate, bright) - x)
    x = x * (1 - darker * gold * draw.uniform(0.35, 0.7))
    x = (x * (1 + scratched * gold * _scratches(draw, size))).clamp(min=0)
    return x, ((mirrors + ramped + darker + scratched) > 0).float()


def warm_light(x: Tensor, gold: Tensor, draw: Draw, free: Tensor) -> Tensor:
    """The whole picture as under a lamp, so that tin looks yellow too; more often where nothing is plated."""
    bare = (gold.sum((1, 2, 3), keepdim=True) < 1).float()
    cast = torch.cat([draw.uniform(1.0, 1.35), draw.uniform(0.9, 1.05), draw.uniform(0.45, 0.85)], 1)
    lit = mix(bare, draw.chance(WARM_LIGHT_ON_BARE), draw.chance(WARM_LIGHT))
    return x * (1 + lit * free * (cast - 1))


def _mirrored(x: Tensor, gold: Tensor, draw: Draw) -> Tensor:
    """Plating that mirrors two of the surroundings, each in places, with its fine texture kept in part."""
    colours = torch.tensor(SURROUNDINGS, device=x.device)
    one, other = (
        colours[draw.uniform(0, len(colours)).long().clamp(max=len(colours) - 1).view(-1)][:, :, None, None]
        for _ in range(2)
    )
    size = x.shape[-1]
    cells = mix(draw.chance(0.5), draw.field(size, 5), draw.field(size, 24))
    where = torch.sigmoid(draw.uniform(1.5, 8) * cells + draw.normal(1.0))
    light = one + where * (other - one)
    brightness = luma(x)
    mean = (brightness * gold).sum((2, 3), keepdim=True) / (gold.sum((2, 3), keepdim=True) + 1)
    texture = ((brightness + 0.02) / (mean + 0.02)).clamp(0.3, 2.5) ** draw.uniform(0, 0.8)
    clean = torch.tensor(GOLD, device=x.device).view(1, 3, 1, 1) * torch.exp(draw.normal(0.06, 3))
    return clean * light * texture * draw.uniform(0.5, 1.2)


def _ramp(draw: Draw, size: int) -> Tensor:
    """Gain (n, 3, size, size) from brown on one side to burnt out on the other."""
    along = torch.linspace(-1, 1, size, device=draw.device)
    angle = draw.uniform(0, 2 * math.pi)
    at = along.view(1, 1, 1, -1) * angle.cos() + along.view(1, 1, -1, 1) * angle.sin()
    t = torch.sigmoid((at - draw.uniform(-0.5, 0.5)) * draw.uniform(2, 12))
    brown = torch.cat([draw.uniform(0.25, 0.7), draw.uniform(0.18, 0.55), draw.uniform(0.12, 0.5)], 1)
    pale = torch.cat([draw.uniform(0.9, 1.0), draw.uniform(1.0, 1.2), draw.uniform(1.1, 2.2)], 1)
    return brown + t * (draw.uniform(1.5, 6) * pale - brown)


def _brought_to(x: Tensor, share: Tensor, colour: Tensor) -> Tensor:
    mean = (x * share).sum((2, 3), keepdim=True) / (share.sum((2, 3), keepdim=True) + 1)
    return x * (colour / (mean + 0.02)).clamp(0.05, 12)


def _scratches(draw: Draw, size: int) -> Tensor:
    """Relative change (n, 1, size, size) along thin straight lines, brighter or darker, mostly in one direction."""
    along = torch.linspace(-1, 1, size, device=draw.device)
    main, change = draw.uniform(0, math.pi), 0.0
    for _ in range(SCRATCHES):
        angle = main + draw.normal(0.25)
        off = along.view(1, 1, 1, -1) * angle.cos() + along.view(1, 1, -1, 1) * angle.sin() - draw.uniform(-1, 1)
        width = draw.uniform(1.0, 3.5) * 2 / size
        change = change + draw.normal(0.5) * torch.exp(-0.5 * (off / width) ** 2)
    return (change * torch.sigmoid(2 * draw.field(size, 16))).clamp(-0.8, 1.5)
