"""All photos of one listing: which of them show the same boards. Each board counts once, by the best look at it."""

from __future__ import annotations

from grader.listing.assign import Group
from grader.listing.division import Division, MatchDoubt
from grader.listing.looks import Look
from grader.listing.model import BoardLook, Listing, ListingPhoto, LotBoard
from grader.listing.read import Progress, SeenListing, read_listing, see_listing
from grader.listing.said import LISTING_FILE, ListingCorrections, PhotoPoint, Saying, parse_listing_corrections

__all__ = [
    "LISTING_FILE",
    "BoardLook",
    "Division",
    "Group",
    "Listing",
    "ListingCorrections",
    "ListingPhoto",
    "Look",
    "LotBoard",
    "MatchDoubt",
    "PhotoPoint",
    "Progress",
    "Saying",
    "SeenListing",
    "parse_listing_corrections",
    "read_listing",
    "see_listing",
]
