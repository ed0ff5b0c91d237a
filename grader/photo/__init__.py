"""Photos: bytes to trusted pixels."""

from grader.photo.model import Photo

__all__ = ["Photo"]
