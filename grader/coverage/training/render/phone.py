"""From linear light to the picture that a phone delivers."""

from __future__ import annotations

import cv2
import numpy as np

from .light import planck
from .shapes import Array

_CODES = np.linspace(0, 1, 4097, dtype=np.float32)
_ENCODED = np.where(_CODES <= 0.0031308, 12.92 * _CODES, 1.055 * np.maximum(_CODES, 1e-6) ** (1 / 2.4) - 0.055)


def develop(rng: np.random.Generator, radiance: Array, gain: float, kelvin: float, flat: bool = False) -> Array:
    """Linear radiance (h, w, 3) as 8-bit sRGB.

    Args:
        rng: draws white balance, noise, sharpening.
        radiance: received by the camera.
        gain: exposure.
        kelvin: approximate colour temperature for which the camera balances.
        flat: whether it is a scanner, which adds nothing of its own.
    """
    height, width = radiance.shape[:2]
    white = planck(kelvin) ** (-1.0 if flat else -float(rng.uniform(0.75, 1.0)))
    if not flat:
        white = white * np.exp([rng.normal(0, 0.05), 0, rng.normal(0, 0.06)])
    white = (gain * white / (white @ [0.2126, 0.7152, 0.0722])).astype(np.float32)
    x = radiance.astype(np.float32) * white
    if not flat:
        dark = np.float32(rng.uniform(0.05, 0.28) / (width * width / 4 + height * height / 4))
        rows = (np.arange(height, dtype=np.float32) - height / 2) ** 2
        columns = (np.arange(width, dtype=np.float32) - width / 2) ** 2
        x *= (1 - dark * (rows[:, None] + columns[None]))[..., None]
    x = cv2.GaussianBlur(x, (0, 0), max(float(rng.uniform(0.45, 0.8)) * width / 1600, 0.3))
    grain = 0.0 if flat else float(rng.choice([0.15, 0.4, 1.0], p=[0.45, 0.4, 0.15]))
    if grain:
        x = np.maximum(x, 0)
        x += rng.standard_normal(x.shape, np.float32) * np.sqrt(np.float32(grain) * (2.2e-4 * x + 6e-6))
    x = np.clip(x, 0, 8)
    x = np.where(x < 0.6, x, 1 - 0.4 * np.exp((0.6 - x) / 0.4))
    codes = np.interp(x, _CODES, _ENCODED).astype(np.float32) * 255
    smooth = cv2.bilateralFilter(np.clip(codes + 0.5, 0, 255).astype(np.uint8), 5, 22 + 10 * grain, 1.5)
    sharp = 0.0 if flat else float(rng.uniform(0.2, 0.9))
    return np.asarray(cv2.addWeighted(smooth, 1 + sharp, cv2.GaussianBlur(smooth, (0, 0), 1.1), -sharp, 0))
