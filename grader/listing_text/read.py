"""From the text of a listing to its statements."""

from __future__ import annotations

from grader.listing_text.counts import stated_count
from grader.listing_text.found import Found, ListingText
from grader.listing_text.kinds import kind_of
from grader.listing_text.layout import TextLayout
from grader.listing_text.masses import mass_of
from grader.listing_text.prices import prices_of

MOST_CHARACTERS = 10_000
"""Of a listing that are read; descriptions are shorter, and what follows is somebody's terms."""

_LONGEST_NAME = 80


def read_listing_text(text: str) -> ListingText:
    """Statements in the text of a listing: title, weight, number, prices and kind of boards.

    Read by rules and tables of words (``data/words.toml``, ``data/kinds.toml``) in English, German, French, Spanish
    and Polish. Anything that is not stated, or is ambiguous, stays None: weights that include the parcel, bids, other
    items in stock.

    Args:
        text: title, description, price and postage as copied from a page; best with one item per line.
    """
    layout = TextLayout(text[:MOST_CHARACTERS])
    count = stated_count(layout)
    prices = prices_of(layout, None if count is None else count.value)
    return ListingText(
        title=_title(layout),
        mass=mass_of(layout),
        count=count,
        asking=prices.asking,
        postage=prices.postage,
        currency=prices.currency,
        kind=kind_of(layout),
    )


def _title(layout: TextLayout) -> Found | None:
    if not layout.lines:
        return None
    start, end = layout.title or layout.lines[0]
    words = layout.text[start:end]
    if len(words) > _LONGEST_NAME:
        words = words[:_LONGEST_NAME].rsplit(" ", 1)[0].rstrip(" ,;:-(")
    return layout.found(words, (start, start + len(words))) if words else None
