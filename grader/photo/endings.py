"""File name endings of photos."""

from __future__ import annotations

# Endings of files taken from a folder; a file named directly may have any name, as its bytes show its format.
ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif"})
