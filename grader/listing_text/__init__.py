"""Reading of a listing's text with rules and tables of words; nothing is sent anywhere."""

from __future__ import annotations

from grader.listing_text.found import Found, ListingText
from grader.listing_text.kinds import kind_keys
from grader.listing_text.read import MOST_CHARACTERS, read_listing_text

__all__ = ["MOST_CHARACTERS", "Found", "ListingText", "kind_keys", "read_listing_text"]
