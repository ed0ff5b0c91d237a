"""Random numbers for a batch, and colour in linear light."""

from __future__ import annotations

import torch
from torch import Tensor
from torch.nn import functional

LUMA = (0.2126, 0.7152, 0.0722)


UNIFORM, NORMAL = 512, 2048  # numbers per picture that a batch's effects take at most


class Draw:
    """Random numbers per picture of a batch, read off one after another.

    They are drawn before the effects that use them, so that those can be compiled.
    """

    def __init__(self, uniform: Tensor, normal: Tensor, noise: Tensor) -> None:
        """Take numbers drawn beforehand.

        Args:
            uniform: (n, k), 0..1.
            normal: (n, k), standard normal.
            noise: (n, 3, size, size), standard normal, for the pixels.
        """
        self._uniform, self._normal, self.noise = uniform, normal, noise
        self._of_uniform = self._of_normal = 0
        self.count, self.device = len(uniform), uniform.device

    @classmethod
    def tapes(cls, count: int, size: int, generator: torch.Generator) -> tuple[Tensor, Tensor, Tensor]:
        """What the class takes, for ``count`` crops of ``size`` × ``size`` pixels, on the generator's device."""
        kind = {"device": generator.device, "generator": generator}
        return (
            torch.rand(count, UNIFORM, **kind),
            torch.randn(count, NORMAL, **kind),
            torch.randn(count, 3, size, size, **kind),
        )

    def _normals(self, count: int) -> Tensor:
        start = self._of_normal
        self._of_normal = start + count
        return self._normal[:, start : start + count]

    def uniform(self, low: float, high: float, channels: int = 1) -> Tensor:
        """Float (n, channels, 1, 1)."""
        start = self._of_uniform
        self._of_uniform = start + channels
        return low + (high - low) * self._uniform[:, start : start + channels].view(self.count, channels, 1, 1)

    def normal(self, sigma: float, channels: int = 1) -> Tensor:
        """Float (n, channels, 1, 1)."""
        return sigma * self._normals(channels).view(self.count, channels, 1, 1)

    def chance(self, share: float) -> Tensor:
        """Float (n, 1, 1, 1), 1 with this probability, otherwise 0."""
        return (self.uniform(0, 1) < share).float()

    def field(self, size: int, cells: int) -> Tensor:
        """Smooth noise (n, 1, size, size), about normal."""
        coarse = self._normals(cells * cells).view(self.count, 1, cells, cells)
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
