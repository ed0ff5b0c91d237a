"""Regions: plated pixels grouped into contacts and pads, rows of contacts, and boards."""

from grader.regions.model import Board, ContactRow, Region, Regions
from grader.regions.pile import with_pile
from grader.regions.reading import RowReading, contact_line, missing_notices, read_contact_rows
from grader.regions.search import search_photo

__all__ = [
    "Board",
    "ContactRow",
    "Region",
    "Regions",
    "RowReading",
    "contact_line",
    "missing_notices",
    "read_contact_rows",
    "search_photo",
    "with_pile",
]
