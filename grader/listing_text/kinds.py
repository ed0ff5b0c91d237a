"""Kind of boards that a listing offers."""

from __future__ import annotations

from functools import cache

from calibration.packaged import packaged_toml
from grader.listing_text.found import Found
from grader.listing_text.layout import Span, TextLayout
from grader.listing_text.words import any_of, compiled

# Words before a year of manufacture: without one of these, a number of four digits may be a model number.
_OF_A_YEAR = (
    "from",
    "from a",
    "of",
    "made",
    "made in",
    "dated",
    "year",
    "von",
    "aus",
    "baujahr",
    "de",
    "anno",
    "annee",
    "ano",
    "z",
    "rok",
    "c.",
    "circa",
)


@cache
def _kinds() -> dict[str, tuple[str, str]]:
    """For each kind, the pattern of its words and that of words that count only where no other kind is named."""
    patterns = {}
    for kind, table in packaged_toml("grader.listing_text", "data/kinds.toml").items():
        first, last = table.get("years", (1, 0))
        years = [f"{start} {year}" for year in range(first, last + 1) for start in _OF_A_YEAR]
        weak = any_of(table["weak"]) if "weak" in table else "(?!)"
        patterns[kind] = (any_of([*table["any"], *years]), weak)
    return patterns


def kind_keys() -> tuple[str, ...]:
    """Keys of all kinds of boards that can be recognised."""
    return tuple(_kinds())


def kind_of(layout: TextLayout) -> Found | None:
    """The only kind named in the title, or in the whole text where the title names no kind; None for several."""
    parts = [part for part in (layout.title, (0, len(layout.folded))) if part is not None]
    for which in (0, 1):
        for part in parts:
            if found := _named(layout, part, which):
                (kind, span), *others = found.items()
                return None if others else layout.found(kind, span)
    return None


def _named(layout: TextLayout, part: Span, which: int) -> dict[str, Span]:
    """Kinds named in a part of the text, each with the place of its first word."""
    found = {kind: compiled(patterns[which]).search(layout.folded, *part) for kind, patterns in _kinds().items()}
    return {kind: m.span() for kind, m in found.items() if m is not None}
