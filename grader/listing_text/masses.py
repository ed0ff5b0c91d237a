"""Weight of the boards of a listing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from grader.listing_text.found import Found
from grader.listing_text.layout import Span, TextLayout
from grader.listing_text.numbers import BETWEEN, FREE, NUMBER, RANGE, plain_range
from grader.listing_text.words import (
    any_of,
    compiled,
    decimal_comma,
    ends_with,
    plain_letters,
    says,
    starts_with,
    word_tables,
)
from grader.units import parse_mass_g

_ALIKE = 0.03  # tolerance for the same weight stated twice, in two units and rounded
_HEAVIEST_G_OF_GOLD_WORDS = ("g", "oz")
_PLATED = r"\s*-?(?:plated|finger|scrap|contact|kontakt|edge|pin|colou?red|bearing|rich)"


@dataclass(frozen=True)
class _Mass:
    value: str
    grams: float
    span: Span


def masses_in(layout: TextLayout) -> list[Span]:
    """Places where a listing names a weight of anything."""
    return [span for span, _, _ in _written(layout)]


def mass_of(layout: TextLayout) -> Found | None:
    """The weight of the boards: the weight with such a label, otherwise the title's, otherwise the only one."""
    written = _written(layout)
    spans = [span for span, _, _ in written]
    comma = decimal_comma(layout.folded)
    labelled: list[_Mass | None] = []
    titled: list[_Mass | None] = []
    others: list[_Mass | None] = []
    for span, number, unit in written:
        before, after = layout.before(span, spans), layout.after(span, spans)
        if _of_something_else(layout, span, before, after, unit):
            continue
        mass = _mass(span, number, unit, comma)
        group = labelled if says(before, "weight") else titled if layout.in_title(span) else others
        group.append(mass)
    for found in (labelled, titled, others):
        if found:
            one = _one(found)
            return None if one is None else _with_words(layout, one, spans)
    return None


def _with_words(layout: TextLayout, mass: _Mass, spans: Sequence[Span]) -> Found:
    return layout.found(mass.value, layout.with_label(mass.span, spans, "weight"))


def _units() -> dict[str, str]:
    return {plain_letters(word): unit for unit, words in word_tables()["weight_units"].items() for word in words}


def _written(layout: TextLayout) -> list[tuple[Span, str, str]]:
    """Place, number or numbers, and unit of each weight; pounds and ounces together are one weight."""
    unit = any_of((word for words in word_tables()["weight_units"].values() for word in words), after_digits=True)
    ones = any_of(word_tables()["one"]["any"])
    numbers = any_of(word for words in word_tables()["number_words"].values() for word in words)
    halves = any_of(word_tables()["half"]["any"]) + "|½"
    pattern = compiled(
        rf"{FREE}(?P<lb>{NUMBER})\s*(?:lbs?|pounds?)\.?,?\s*(?:and\s+)?(?P<oz>{NUMBER})\s*(?:oz|ounces?)(?![^\W_])"
        rf"|(?P<between>{BETWEEN})\s*(?P<unit1>{unit})"
        rf"|{FREE}(?P<number>{RANGE})\s*\+?\s*(?P<unit2>{unit})"
        rf"|(?P<half>(?<![\w.,])(?:{halves}))\s*(?P<unit5>kilos?|kilogram\w*|kg|pounds?|lbs?)(?![^\W_])"
        rf"|(?P<word>{ones}|{numbers})\s+(?P<unit3>kilos?|kilogram\w*|kg|pounds?|lbs?)(?![^\W_])"
        rf"|(?P<unit4>(?<![^\W_])(?:kg|lbs?|grams?|gramm))\)?\s*[:=]\s*(?P<number4>{RANGE})(?![\d.,]*\s*{unit})"
    )
    found: list[tuple[Span, str, str]] = []
    for m in pattern.finditer(layout.folded):
        if m["lb"]:
            found.append((m.span(), f"{m['lb']}|{m['oz']}", "lb oz"))
        elif m["half"]:
            found.append((m.span(), "0.5", _units()[m["unit5"]]))
        elif m["word"]:
            found.append((m.span(), _word_number(m["word"]), _units()[m["unit3"]]))
        else:
            number = m["between"] or m["number"] or m["number4"]
            found.append((m.span(), number, _units()[m["unit1"] or m["unit2"] or m["unit4"]]))
    return found


def _word_number(word: str) -> str:
    for number, words in word_tables()["number_words"].items():
        if re.sub(r"\s+", " ", word) in map(plain_letters, words):
            return str(number)
    return "1"


def _mass(span: Span, number: str, unit: str, comma: bool | None) -> _Mass | None:
    if unit == "lb oz":
        parts = [plain_range(n, comma=comma) for n in number.split("|")]
        if None in parts:
            return None
        value = f"{parts[0]} lb {parts[1]} oz"
        return _Mass(value, parse_mass_g(value), span) if float(parts[1] or 0) else None
    read = plain_range(number, comma=comma, grouped_by_three=unit == "g")
    if read is None or any(float(n) <= 0 for n in read.split("..")):
        return None
    return _Mass(f"{read} {unit}", parse_mass_g(f"{read.split('..')[-1]} {unit}"), span)


def _of_something_else(layout: TextLayout, span: Span, before: str, after: str, unit: str) -> bool:
    if says(before, "weight_with_box") or starts_with(after, "weight_with_box") or says(after, "weight_with_box"):
        return True
    if ends_with(before, "limit_before", "per", "each") and not compiled(
        r"(?:^|\s)(?:a|the|le|el|du|das)\s*$"
    ).search(before):
        return True
    if starts_with(after, "each") or says(before, "each"):
        return True
    if says(after, "stock") or says(before, "stock", "gold_content"):
        return True
    small = unit in _HEAVIEST_G_OF_GOLD_WORDS
    gold = compiled(
        rf"\s*(?:of\s+|d'|de\s+)?(?:pure\s+|fine\s+)?(?:gold|or|oro|zlota|feingold)(?![^\W_])(?!{_PLATED})"
    )
    if small and gold.match(layout.folded, span[1]):
        return True
    return compiled(r"(?:/|per\s)\s*$").search(layout.just_before(span[0])) is not None


def _one(found: Sequence[_Mass | None]) -> _Mass | None:
    """The first mass, if all are alike."""
    sure = [mass for mass in found if mass is not None]
    if len(sure) != len(found) or not sure:
        return None
    first = sure[0]
    return first if all(abs(m.grams - first.grams) <= _ALIKE * first.grams for m in sure) else None
