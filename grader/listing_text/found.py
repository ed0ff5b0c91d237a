"""What was read from the text of a listing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Found:
    """One thing that a listing says.

    Attributes:
        value: as the field of a form takes it: "3 kg", "28..32", "40 USD", "8 EUR/kg".
        words: of the listing that it was read from.
        span: where these words stand in the text, first character and the one after the last.
    """

    value: str
    words: str
    span: tuple[int, int]


@dataclass(frozen=True)
class ListingText:
    """What the text of a listing says; None if it says nothing, or nothing sure.

    Attributes:
        title: its first line.
        mass: of the boards: "4.6 lb", "5..6 kg", "1 lb 2 oz". Never a weight with the parcel.
        count: of the boards: "12", "28..32".
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
