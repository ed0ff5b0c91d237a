"""Photos: bytes to trusted pixels."""

from grader.photo.load import load_photo
from grader.photo.model import Photo
from grader.photo.reduce import reduced

__all__ = ["Photo", "load_photo", "reduced"]
