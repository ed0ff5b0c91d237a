"""A measured photo to look at: the findings are laid over it, and a slider takes them away."""

from __future__ import annotations

from collections.abc import Callable
from zlib import crc32

from app.photo_view.component import photo_compare
from app.photo_view.picture import overlay_url, preview_url
from grader.photo import Photo


def comparing_picture(sha256: str, size: tuple[int, int], decoded: Callable[[], Photo], overlay: bytes) -> None:
    """Draw the picture: before the slider's edge the photo as it is, behind it the findings.

    Args:
        sha256: of the photo's file.
        size: of the photo, width and height in px.
        decoded: returns the photo.
        overlay: PNG of the photo with the findings.

    Raises:
        PhotoError: as ``decoded``.
    """
    preview = preview_url(sha256, decoded)
    photo_compare(
        key=f"desk-compare-{sha256[:16]}",
        data={
            "version": f"{sha256}-{crc32(overlay)}",
            "size": list(size),
            "photo": {"preview": preview, "whole": preview},
            "overlay": overlay_url(sha256, overlay),
        },
    )
