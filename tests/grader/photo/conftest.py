"""Small pictures as files of every kind."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

Encode = Callable[..., bytes]


@pytest.fixture(scope="session")
def scene() -> np.ndarray:
    """An unsymmetrical picture with colour, edges and sensor noise, uint8 (240, 320, 3)."""
    rng = np.random.default_rng(5)
    coarse = rng.integers(20, 235, (30, 40, 3), np.uint8)
    smooth = cv2.resize(coarse, (320, 240), interpolation=cv2.INTER_CUBIC)
    return np.clip(smooth + rng.normal(0, 4, smooth.shape), 0, 255).astype(np.uint8)


@pytest.fixture(scope="session")
def encode() -> Encode:
    """``encode(pixels or picture, format, **how)`` gives a file's bytes."""

    def encode(picture: np.ndarray | Image.Image, kind: str = "JPEG", **how: Any) -> bytes:
        image = Image.fromarray(picture) if isinstance(picture, np.ndarray) else picture
        file = io.BytesIO()
        if kind == "HEIF":
            from pillow_heif import from_pillow

            from_pillow(image).save(file, **how)
        else:
            image.save(file, kind, **how)
        return file.getvalue()

    return encode
