"""How much of some listings is read rightly, field by field."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from grader.listing_text import ListingText, read_listing_text

FIELDS = ("mass", "count", "asking", "postage", "currency", "kind")
FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Score:
    """Of one field: read and right, read though wrong or not said, said in the listings."""

    right: int
    wrong: int
    said: int

    @property
    def precision(self) -> float:
        return self.right / (self.right + self.wrong) if self.right + self.wrong else 1.0

    @property
    def recall(self) -> float:
        return self.right / self.said if self.said else 1.0


def listings(name: str) -> list[dict[str, Any]]:
    """The invented listings of a file."""
    return tomllib.loads((FOLDER / name).read_text("utf-8"))["listing"]


def value_of(read: ListingText, field: str) -> str | None:
    found = getattr(read, field)
    return None if found is None else found.value


def scores(name: str) -> dict[str, Score]:
    """Right, wrong and said of each field over a file's listings."""
    pairs = [(listing, read_listing_text(listing["text"])) for listing in listings(name)]
    return {
        field: _score([(listing.get(field), value_of(read, field)) for listing, read in pairs]) for field in FIELDS
    }


def _score(pairs: list[tuple[str | None, str | None]]) -> Score:
    right = sum(said is not None and said == read for said, read in pairs)
    read_at_all = sum(read is not None for _, read in pairs)
    return Score(right, read_at_all - right, sum(said is not None for said, _ in pairs))
