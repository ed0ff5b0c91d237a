"""Random numbers for a batch, and colour in linear light."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

LUMA = (0.2126, 0.7152, 0.0722)


class Draw:
    """Random numbers per picture of a batch."""

    def __init__(self, count: int, device: torch.device, generator: torch.Generator) -> None:
        self.count, self.device, self.generator = count, device, generator

    def uniform(self, low: float, high: float, channels: int = 1) -> Tensor:
        """Float (n, channels, 1, 1)."""
        u = torch.rand(self.count, channels, 1, 1, device=self.device, generator=self.generator)
        return low + (high - low) * u

    def normal(self, sigma: float, channels: int = 1) -> Tensor:
        """Float (n, channels, 1, 1)."""
        return sigma * torch.randn(self.count, channels, 1, 1, device=self.device, generator=self.generator)

    def chance(self, share: float) -> Tensor:
        """Float (n, 1, 1, 1), 1 with this probability, otherwise 0."""
        return (self.uniform(0, 1) < share).float()

    def field(self, size: int, cells: int) -> Tensor:
        """Smooth noise (n, 1, size, size), about normal."""
        coarse = torch.randn(self.count, 1, cells, cells, device=self.device, generator=self.generator)
        return functional.interpolate(coarse, size=(size, size), mode="bicubic", align_corners=False)

    def colour(self, *, warm: bool) -> Tensor:
        """A reflectance (n, 3, 1, 1): any, or between cream, tan, orange and brown."""
        if not warm:
            return self.uniform(0.01, 0.6, 3) * self.uniform(0.3, 1.2)
        red = self.uniform(0.08, 0.8)
        green = red * self.uniform(0.45, 0.95)
        return torch.cat([red, green, green * self.uniform(0.15, 0.9)], 1)


def srgb_to_linear(x: Tensor) -> Tensor:
    """SRGB-encoded 0..1 → linear (IEC 61966-2-1)."""
    return torch.where(x <= 0.04045, x / 12.92, ((x.clamp(min=0.0) + 0.055) / 1.055) ** 2.4)


def to_srgb(x: Tensor) -> Tensor:
    """The inverse of ``srgb_to_linear``."""
    return torch.where(x <= 0.0031308, 12.92 * x, 1.055 * x.clamp(min=1e-6) ** (1 / 2.4) - 0.055)


def luma(x: Tensor) -> Tensor:
    """Luminance (n, 1, h, w) of linear light."""
    return (x * torch.tensor(LUMA, device=x.device).view(1, 3, 1, 1)).sum(1, keepdim=True)


def mix(chosen: Tensor, a: Tensor, b: Tensor) -> Tensor:
    """``a`` where ``chosen`` is 1, ``b`` where it is 0."""
    return chosen * a + (1 - chosen) * b
