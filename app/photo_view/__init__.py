"""A photo on a page, to view, mark and correct: picture components in plain JavaScript."""

from app.photo_view.comparing import comparing_picture
from app.photo_view.correcting import begin_again, close_picture, correcting_picture
from app.photo_view.history import History
from app.photo_view.marking import mark_points

__all__ = ["History", "begin_again", "close_picture", "comparing_picture", "correcting_picture", "mark_points"]
