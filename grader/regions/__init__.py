"""Regions: plated pixels grouped into contacts and pads, rows of contacts, and boards."""

from grader.regions.find import find_regions
from grader.regions.model import Board, Region, Regions, Row
from grader.regions.pile import with_pile
from grader.regions.reading import RowReading, contact_line, missing_notices, read_contact_rows
from grader.regions.search import search_photo

__all__ = [
    "Board",
    "Region",
    "Regions",
    "Row",
    "RowReading",
    "contact_line",
    "find_regions",
    "missing_notices",
    "read_contact_rows",
    "search_photo",
    "with_pile",
]
