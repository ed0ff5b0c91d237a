"""Photos: bytes to trusted pixels."""

from grader.photo.endings import ENDINGS
from grader.photo.load import load_photo
from grader.photo.model import Photo
from grader.photo.reduce import reduced, shrunk

__all__ = ["ENDINGS", "Photo", "load_photo", "reduced", "shrunk"]
