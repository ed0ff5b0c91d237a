"""Regions: plated pixels grouped into contacts and pads, rows of contacts, and boards."""

from grader.regions.find import find_regions
from grader.regions.model import Board, Region, Regions, Row

__all__ = ["Board", "Region", "Regions", "Row", "find_regions"]
