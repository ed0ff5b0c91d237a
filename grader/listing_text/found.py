"""Results of reading the text of a listing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Found:
    """One statement of a listing.

    Attributes:
        value: in the form that a form's field takes: "3 kg", "28..32", "40 USD", "8 EUR/kg".
        words: words of the listing from which it was read.
        span: position of these words in the text: first character, and the one after the last.
    """

    value: str
    words: str
    span: tuple[int, int]


@dataclass(frozen=True)
class ListingText:
    """Statements in the text of a listing; None where it states nothing, or nothing certain.

    Attributes:
        title: its first line.
        mass: mass of the boards: "4.6 lb", "5..6 kg", "1 lb 2 oz". Never a weight that includes the parcel.
        count: number of boards: "12", "28..32".
        asking: the price for the lot, or for a kilogram, a pound or a board: "40 USD", "8 EUR/kg",
            "0.60 USD/board". A sign that several currencies share stays as it is: "$80".
        postage: "12 USD"; zero if it is free.
        currency: three-letter code; None if only a shared sign was written.
        kind: the key of a kind of board, one of ``kind_keys``.
    """

    title: Found | None = None
    mass: Found | None = None
    count: Found | None = None
    asking: Found | None = None
    postage: Found | None = None
    currency: Found | None = None
    kind: Found | None = None
