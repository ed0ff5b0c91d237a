"""Words of listings as patterns: folded to lower case without accents, character for character."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import cache
from typing import Any

from calibration.packaged import packaged_toml

_LOOK_ALIKE = str.maketrans(
    {"ł": "l", "Ł": "l", "ß": "s", "ø": "o", "’": "'", "‘": "'", "–": "-", "—": "-", "−": "-", "×": "x"}
)
# Languages that write a comma before decimals; English writes a point.
_COMMA_LANGUAGES = ("de", "fr", "es", "pl")


def plain_letters(text: str) -> str:
    """The text at the same length in lower case, without accents, with plain spaces, hyphens and apostrophes."""
    return "".join(_folded(character) for character in text)


@cache
def _folded(character: str) -> str:
    if character in "\r\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}":
        return " "
    plain = unicodedata.normalize("NFD", character.translate(_LOOK_ALIKE))[:1].lower()
    return plain if len(plain) == 1 else character


@cache
def word_tables() -> dict[str, dict[str, Any]]:
    """The tables of ``data/words.toml``."""
    return dict(packaged_toml("grader.listing_text", "data/words.toml"))


@cache
def phrases(*names: str) -> str:
    """One pattern for all phrases of the named tables in all languages, the longest first; it has no groups."""
    return any_of(phrase for name in names for words in word_tables()[name].values() for phrase in words)


def any_of(all_phrases: Iterable[str], *, after_digits: bool = False) -> str:
    """One pattern for phrases, the longest first; with ``after_digits`` they may follow a digit without a space."""
    ordered = sorted({plain_letters(p) for p in all_phrases}, key=lambda p: (-len(p), p))
    return "(?:" + "|".join(_pattern(p, r"(?<![^\W\d_])" if after_digits else r"(?<![^\W_])") for p in ordered) + ")"


def _pattern(phrase: str, starts: str) -> str:
    words = r"\s+".join(re.escape(word).replace(r"\*", r"[^\W_]*") for word in phrase.split())
    before = starts if phrase[0].isalnum() or phrase[0] == "*" else ""
    after = r"(?![^\W_])" if phrase[-1].isalnum() else ""
    return f"{before}{words}{after}"


@cache
def compiled(pattern: str) -> re.Pattern[str]:
    """A pattern, compiled once."""
    return re.compile(pattern)


def says(text: str, *names: str) -> bool:
    """Whether a folded text contains a phrase of the named tables."""
    return compiled(phrases(*names)).search(text) is not None


def ends_with(text: str, *names: str) -> bool:
    """Whether a folded text ends with a phrase of the named tables, ignoring spaces, colons and signs."""
    return compiled(rf"{phrases(*names)}[\s:=~(.-]*$").search(text) is not None


def starts_with(text: str, *names: str) -> bool:
    """Whether a folded text starts with a phrase of the named tables."""
    return compiled(rf"[\s,()-]*{phrases(*names)}").match(text) is not None


def decimal_comma(text: str) -> bool | None:
    """Whether a folded text writes a comma before decimals, by its other numbers or its language; None if unclear."""
    commas = compiled(r"(?<![\d.,])\d+(?:\.\d{3})*,\d{1,2}(?![\d,.]*\d)").findall(text)
    points = compiled(r"(?<![\d.,])\d+(?:,\d{3})*\.\d{1,2}(?![\d,.]*\d)").findall(text)
    if bool(commas) != bool(points):
        return bool(commas)
    known = {"en": 0, "comma": 0}
    for name in ("weight", "weight_with_box", "postage", "price", "number_label", "pieces", "boards"):
        for language, words in word_tables()[name].items():
            found = len(compiled(any_of(words)).findall(text))
            known["comma" if language in _COMMA_LANGUAGES else "en"] += found
    return None if known["en"] == known["comma"] else known["comma"] > known["en"]
