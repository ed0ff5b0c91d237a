"""A listing's text in lines and clauses, to find the words that belong to a number."""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from grader.listing_text.found import Found
from grader.listing_text.words import any_of, compiled, phrases, plain_letters, says, word_tables

Span = tuple[int, int]

_LONGEST_TITLE = 120
_LONGEST_LABEL = 40
_NEAR, _FAR = 40, 120  # characters; words farther away do not belong to a number
_LABELS = ("weight", "weight_with_box", "number_label", "price", "postage", "no_price")


@dataclass(frozen=True)
class TextLayout:
    """A listing's text.

    Attributes:
        text: the text as pasted.
    """

    text: str
    folded: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "folded", plain_letters(self.text))

    @cached_property
    def lines(self) -> list[Span]:
        """Lines that are not blank, without the spaces around their text."""
        return [(m.start(), m.end()) for m in re.finditer(r"\S[^\n]*(?<=\S)", self.folded)]

    @cached_property
    def title(self) -> Span | None:
        """The first line, if other lines follow and it is short enough; otherwise None."""
        if len(self.lines) < 2:
            return None
        start, end = self.lines[0]
        if label := re.match(r"(?:title|titel|titre|titulo|tytul)\s*:\s*", self.folded[start:end]):
            start += label.end()
        return (start, end) if 0 < end - start <= _LONGEST_TITLE else None

    def in_title(self, span: Span) -> bool:
        """Whether a span lies in the title."""
        return self.title is not None and self.title[0] <= span[0] and span[1] <= self.title[1]

    @cached_property
    def _breaks(self) -> list[Span]:
        """Ends of clauses: a mark, a dash between spaces, a comma or a full stop before a space, "plus"."""
        shortened = any_of(word_tables()["abbreviations"]["any"])
        marks = compiled(
            r"\n+|[;|•·!?()\[\]]|\s[-*+]\s|,(?=\s)|\.(?=\s|$)|(?<![\d.,])\+|(?<=\s)(?:plus|zzgl\.?)(?=\s)"
        )
        return [
            m.span()
            for m in marks.finditer(self.folded)
            if m[0] != "." or not compiled(rf"{shortened}$").search(self.just_before(m.start()))
        ]

    def just_before(self, place: int) -> str:
        """The last few folded characters before a place."""
        return self.folded[max(0, place - _NEAR) : place]

    def _clause_start(self, place: int) -> int:
        number = bisect_right(self._break_ends, place)
        return self._break_ends[number - 1] if number else 0

    @cached_property
    def _break_starts(self) -> list[int]:
        return [start for start, _ in self._breaks]

    @cached_property
    def _break_ends(self) -> list[int]:
        return [end for _, end in self._breaks]

    @cached_property
    def _line_ends(self) -> list[int]:
        return [end for _, end in self.lines]

    def before(self, span: Span, others: Iterable[Span] = ()) -> str:
        """Folded words before a span in its clause, after any other spans; a label on the line above counts."""
        start = max([self._clause_start(span[0]), span[0] - _FAR, *(b for _, b in others if b <= span[0])])
        words = self.folded[start : span[0]]
        line = self.folded.rfind("\n", 0, span[0]) + 1
        if self.folded[line : span[0]].strip(" :=~-"):
            return words
        number = bisect_right(self._line_ends, span[0])
        label = self.folded[slice(*self.lines[number - 1])] if number else ""
        is_label = len(label) <= _LONGEST_LABEL and not re.search(r"\d", label) and says(label, *_LABELS)
        return f"{label} " if is_label and (label.endswith(":") or len(label.split()) <= 4) else words

    def after(self, span: Span, others: Iterable[Span] = ()) -> str:
        """Folded words after a span in its clause; empty if another span follows there, to which they belong."""
        number = bisect_left(self._break_starts, span[1])
        end = self._break_starts[number] if number < len(self._breaks) else len(self.folded)
        end = min(end, span[1] + _FAR)
        return "" if any(span[1] <= a < end for a, _ in others) else self.folded[span[1] : end]

    def found(self, value: str, span: Span) -> Found:
        """The value read at a place, with its words."""
        start, end = span
        while start < end and self.text[start].isspace():
            start += 1
        while end > start and self.text[end - 1].isspace():
            end -= 1
        return Found(value, re.sub(r"\s+", " ", self.text[start:end]), (start, end))

    def with_label(self, span: Span, others: Iterable[Span], *labels: str) -> Span:
        """A place together with its label, if the label is on the same line shortly before it."""
        words = self.before(span, others)
        found = list(compiled(phrases(*labels)).finditer(words))
        if not found or not self.folded.startswith(words, span[0] - len(words)):
            return span
        return (span[0] - len(words) + found[0].start(), span[1])
