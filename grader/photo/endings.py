"""Endings of photos' names."""

from __future__ import annotations

# What is taken from a folder; a file that is named itself may be called anything, for its bytes say what it is.
ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
