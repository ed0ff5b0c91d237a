"""Number of boards that a listing offers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from grader.listing_text.found import Found
from grader.listing_text.layout import Span, TextLayout
from grader.listing_text.masses import masses_in
from grader.listing_text.numbers import BETWEEN, FREE, NUMBER, RANGE, plain_range
from grader.listing_text.prices import amounts_in
from grader.listing_text.words import any_of, compiled, ends_with, phrases, plain_letters, starts_with, word_tables

_YEARS = range(1940, 2040)
_NAME_OF_A_PROCESSOR = re.compile(r"(?:80)?[1-5]86")
_WORD = r"[^\W\d_][^\W_'-]*(?:[-'][^\W\d_]+)*"


class _Count(NamedTuple):
    number: str
    span: Span


def stated_count(layout: TextLayout) -> Found | None:
    """The number of boards: one that is labelled so, otherwise the only one that counts something like boards."""
    taken = [*masses_in(layout), *amounts_in(layout)]
    for counts in (_called(layout), _multiplied(layout), _of_boards(layout)):
        sure = [c for c in counts if not any(a < c.span[1] and c.span[0] < b for a, b in taken)]
        sure = [c for c in sure if not _of_something_else(layout, c)]
        if sure:
            return layout.found(sure[0].number, sure[0].span) if len({c.number for c in sure}) == 1 else None
    return None


def _called(layout: TextLayout) -> list[_Count]:
    """Numbers that are labelled so: "lot of 12", "12 pcs", "quantity: 12", or with a label on the line above."""
    words = _number_words()
    number = rf"(?P<n>{BETWEEN}|{RANGE}|{words})"
    label = rf"(?:{phrases('together', 'number_label')}|(?m:^[ ]*){phrases('label_with_mark')}[ ]*[:\t])"
    labelled = rf"{label}\s*[:=.]?\s*(?:about\s+|approx\.?\s+|ca\.?\s+)?{number}(?![\w%/]|[.,]\d|-\w)"
    followed = rf"{FREE}{number.replace('<n>', '<m>')}\+?\s*-?\s*{phrases('pieces', 'in_all')}"
    pattern = rf"(?:{labelled}|{followed})"
    found = [
        _Count(n, m.span())
        for m in compiled(pattern).finditer(layout.folded)
        if (n := _number(m["n"] or m["m"])) is not None and not _is_unit_next(layout, m.end(), m["n"] is not None)
    ]
    for start, end in layout.lines:
        alone = re.fullmatch(RANGE, layout.folded[start:end])
        if alone and ends_with(layout.before((start, end)), "number_label"):
            number_alone = _number(alone[0])
            found += [_Count(number_alone, (start, end))] if number_alone is not None else []
    return found


def _multiplied(layout: TextLayout) -> list[_Count]:
    """Numbers with an x: "x25", "25 x boards", "4 x 256 MB"."""
    pattern = compiled(
        rf"(?<![\w.,/-])x\s?(?P<after>\d+)(?![\w.,/-]|\s*(?:mm|cm|in|inch)(?![^\W_]))"
        rf"|{FREE}(?P<before>\d+)\s?x(?:\s+(?=[^\W\d_])|\s*(?=\d+\s*[mgk]b(?![^\W_])))"
    )
    lanes = phrases("lanes")
    found: list[_Count] = []
    sizes = 0  # "8 x 1 GB and 8 x 2 GB": the total number is not stated
    for m in pattern.finditer(layout.folded):
        is_lane = compiled(rf"{lanes}[\s-]*$").search(layout.just_before(m.start())) or compiled(
            rf"\s*{lanes}"
        ).match(layout.folded, m.end())
        digit_before = re.search(r"\d\s*$", layout.just_before(m.start())) if m["after"] else None
        number = _number(m["after"] or m["before"])
        if number is not None and not is_lane and not digit_before:
            found.append(_Count(number, m.span()))
            sizes += m["before"] is not None and layout.folded[m.end() : m.end() + 1].isdigit()
    return [] if sizes > 1 else found


def _of_boards(layout: TextLayout) -> list[_Count]:
    """Numbers before boards: "12 memory modules", "about 30 old cards"."""
    number = rf"(?P<n>{BETWEEN}|{FREE}{RANGE}|{_number_words()})"
    pattern = compiled(rf"{number}\+?\s+(?P<words>(?:{_WORD}\s+){{0,4}}?){phrases('boards')}")
    stop = compiled(phrases("between_number_and_board"))
    return [
        _Count(n, m.span())
        for m in pattern.finditer(layout.folded)
        if not stop.search(m["words"]) and (n := _number(m["n"])) is not None and not _is_a_name(m, n)
    ]


def _is_a_name(m: re.Match[str], number: str) -> bool:
    bare = m["n"].isdigit()
    return (bare and int(number) in _YEARS) or (bare and _NAME_OF_A_PROCESSOR.fullmatch(number) is not None)


def _is_unit_next(layout: TextLayout, end: int, labelled: bool) -> bool:
    """Whether the number after "lot of" has a unit of its own: "lot of 512 MB modules", "lot of 72-pin modules"."""
    if not labelled:
        return False
    units = r"\s*-?(?:pins?|[kmg]b|mhz|ghz|bits?|mm|cm|inch|polige?r?|broches|pines|kg|g|lbs?|oz|x\s*\d)(?![^\W_])"
    return re.match(units, layout.folded[end:]) is not None


def _of_something_else(layout: TextLayout, count: _Count) -> bool:
    before, after = layout.before(count.span), layout.after(count.span)
    if ends_with(before, "limit_before", "number_is_a_name", "stock"):
        return not ends_with(before, "together")
    return starts_with(after, "stock")


def _number_words() -> str:
    return any_of(word for words in word_tables()["number_words"].values() for word in words)


def _number(text: str) -> str | None:
    for number, words in word_tables()["number_words"].items():
        if re.sub(r"\s+", " ", text) in map(plain_letters, words):
            return str(number)
    if any("." in n or "," in n for n in _parts(text)):
        read = plain_range(text, comma=None, grouped_by_three=True)
        return read if read is not None and "." not in read.replace("..", "") else None
    read = plain_range(text, comma=None)
    return read if read is not None and all(int(n) > 0 for n in read.split("..")) else None


def _parts(text: str) -> Sequence[str]:
    return re.findall(NUMBER, text)
