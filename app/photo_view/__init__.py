"""The photo to look at, mark on and correct, on a page: one picture component in plain JavaScript."""

from app.photo_view.correcting import begin_again, correct, made_on_picture
from app.photo_view.marking import mark_points

__all__ = ["begin_again", "correct", "made_on_picture", "mark_points"]
