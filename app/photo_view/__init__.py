"""The photo to look at, mark on and correct, on a page: one picture component in plain JavaScript."""

from app.photo_view.correcting import correct
from app.photo_view.marking import mark_points

__all__ = ["correct", "mark_points"]
