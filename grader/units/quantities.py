"""Lengths, areas, masses and volumes as a practitioner types them, through pint, into plain floats.

pint is used here alone: its registry is built when first needed and once a process, with exact decimal factors. Only
the words of ``data/words.toml`` are accepted, so that no exotic unit of pint's can slip in (its "mil" is an angle,
its "bag" 94 lb); a word outside the list is looked up only to say what kind of quantity it would have been.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from calibration.digits import as_given
from calibration.errors import UnitError
from calibration.packaged import packaged_toml
from grader.units.numbers import NUMBER, number, plain

if TYPE_CHECKING:
    from pint import UnitRegistry

QuantityKind = Literal["length", "area", "mass", "volume"]
KIND_WORDS: Mapping[str, str] = {"length": "a length", "area": "an area", "mass": "a mass", "volume": "a volume"}

MAX_PLATING_UM = 100.0
"""Far above any gold plating on a board (common practice, no source): a slip of the unit, not a thickness."""

_OTHER_DIMENSIONS: Mapping[str, str] = {
    "[time]": "a time",
    "[temperature]": "a temperature",
    "[current]": "an electric current",
    "dimensionless": "a plain number",
    "[length] / [time]": "a speed",
    "[mass] / [length] ** 3": "a density",
}
_WORD = r"[^\W\d_\"']+(?:[ ._-]+[^\W\d_\"']+)*\.?[\"']?|[\"']"


@dataclass(frozen=True)
class Vocabulary:
    """Unit words: word → (kind, pint's name), and words that are refused → what to write instead."""

    units: Mapping[str, tuple[str, str]]
    ambiguous: Mapping[str, str]


@cache
def vocabulary() -> Vocabulary:
    """The words of ``data/words.toml``."""
    data = packaged_toml("grader.units", "data/words.toml")
    units = {word: (kind, name) for kind in KIND_WORDS for name, words in data[kind].items() for word in words}
    return Vocabulary(units, data["ambiguous"])


@cache
def _registry() -> UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)


def parse_length_mm(text: str) -> float:
    """A length in mm from "1.57 mm", "62 mil", '5 1/4"', "3 ft 2 in".

    Raises:
        UnitError: no unit, an unknown or ambiguous one, another dimension, or a length that is not above zero.
    """
    return _quantity(text, "length", "millimeter", "a length such as '1.6 mm', '62 mil' or '5.25 in'")


def parse_pair_mm(text: str) -> tuple[float, float]:
    """Two lengths in mm from "133.35 x 31.25 mm" (a unit given once holds for both).

    Raises:
        UnitError: as for one length, or ``pair-unreadable`` where there are not two.
    """
    examples = "two lengths such as '133.35 x 31.25 mm'"
    folded = plain(text, "a pair of lengths", examples)
    parts = re.split(r"\s*(?:x|\*|\bby\b)\s*(?=[\d.,+-])", folded, flags=re.IGNORECASE)
    if len(parts) != 2:
        raise UnitError("pair-unreadable", f"'{text}' is not two lengths.", f"Write {examples}.")
    first, second = parts
    if re.fullmatch(NUMBER, first) and re.fullmatch(NUMBER, second):
        raise UnitError("unit-missing", f"'{text.strip()}' has no unit.", f"Write {examples}.")
    if re.fullmatch(NUMBER, first):
        first += re.sub(rf"^{NUMBER}", "", second)
    return parse_length_mm(first), parse_length_mm(second)


def parse_thickness_um(text: str) -> float:
    """A plating thickness in µm from "30 uin", "30 µin", "0.76 um", "75 nm".

    Raises:
        UnitError: as for a length, or ``thickness-implausible`` above 100 µm, which no gold plating reaches.
    """
    value = _quantity(text, "length", "micrometer", "a plating thickness such as '30 uin' or '0.76 um'")
    if value > MAX_PLATING_UM:
        raise UnitError(
            "thickness-implausible",
            f"'{text.strip()}' is {as_given(value)} um: no gold plating is that thick.",
            "Check the unit: 30 uin (microinch) is 0.76 um, 30 mil would be 762 um.",
        )
    return value


def parse_area_mm2(text: str) -> float:
    """An area in mm² from "4.2 cm2", "0.5 sq in", "492 mm²".

    Raises:
        UnitError: as for a length.
    """
    return _quantity(text, "area", "millimeter ** 2", "an area such as '492 mm2' or '0.5 sq in'")


def parse_volume_ml(text: str) -> float:
    """A volume in ml from "500 ml", "1.5 l", "1 US gal".

    Raises:
        UnitError: as for a length; a gallon, quart, pint or fluid ounce must say whether it is US or imperial.
    """
    return _quantity(text, "volume", "milliliter", "a volume such as '500 ml' or '1 US gal'")


def parse_mass_g(text: str, *, precious: bool = False) -> float:
    """A mass in g from "450 g", "1 lb 2 oz", "8 dwt", "2 ozt".

    Args:
        text: as typed. A plain "oz" is the avoirdupois ounce of 28.35 g, as on a parcel scale.
        precious: true where gold itself is weighed: a plain "oz" is then refused, for it could be troy.

    Raises:
        UnitError: as for a length; ``ounce-ambiguous`` for a plain ounce of gold.
    """
    return _quantity(text, "mass", "gram", "a mass such as '450 g', '1 lb 2 oz' or '8 dwt'", precious=precious)


def gram_per_unit(word: str, examples: str) -> float:
    """How many g one unit of gold's mass is ("ozt" → 31.1034768), for prices.

    Raises:
        UnitError: as for ``parse_mass_g`` with ``precious``.
    """
    return float(_to_base(Decimal(1), _resolve(word, "mass", examples, precious=True), "gram"))


def mass_word(word: str, examples: str) -> str:
    """What pint calls a unit of mass as typed ("kilos" → "kilogram").

    Raises:
        UnitError: as for a mass.
    """
    return _resolve(word, "mass", examples)


def _quantity(text: str, kind: QuantityKind, base: str, examples: str, *, precious: bool = False) -> float:
    folded = plain(text, KIND_WORDS[kind], examples)
    if re.fullmatch(NUMBER, folded):
        raise UnitError("unit-missing", f"'{text.strip()}' has no unit.", f"Write {examples}.")
    total = Decimal(0)
    parts = _parts(folded, text, kind, examples)
    compound = len(parts) > 1
    if kind == "mass":
        precious = _ounce_is_open(parts, precious=precious)
    previous: Decimal | None = None
    for digits, word in parts:
        value = number(digits, examples)
        if compound and digits.strip()[0] in "+-" and previous is not None:
            raise _unreadable(text, kind, examples)
        unit = _resolve(word, kind, examples, precious=precious)
        one = _to_base(Decimal(1), unit, base)
        if previous is not None and one >= previous:
            raise _unreadable(text, kind, examples)
        total += -value * one if total < 0 else value * one
        previous = one
    if total <= 0:
        named = "zero" if total == 0 else "negative"
        raise UnitError(f"value-{named}", f"'{text.strip()}' is {named}.", f"Write {examples}, above zero.")
    return float(total)


def _ounce_is_open(parts: list[tuple[str, str]], *, precious: bool) -> bool:
    """Whether a plain "oz" among the parts could be troy: beside pounds it cannot be, beside pennyweights it may."""
    names = {vocabulary().units.get(_key(word), ("", ""))[1] for _, word in parts}
    if names & {"pound", "stone"}:
        return "pennyweight" in names
    return precious or "pennyweight" in names


def _key(word: str) -> str:
    return re.sub(r"[\s_-]+", " ", word.replace(".", " ")).strip().lower()


def _parts(folded: str, text: str, kind: QuantityKind, examples: str) -> list[tuple[str, str]]:
    """Numbers and the unit word behind each; more than one only for lengths and masses ("1 lb 2 oz")."""
    single = re.fullmatch(rf"({NUMBER})\s*(\D.*?(?:(?<! )[23])?)", folded)
    if single and not re.search(r"\d", re.sub(r"(?:\^|\*\*)?[23]$", "", single.group(2))):
        return [(single.group(1), single.group(2))]
    if kind in ("length", "mass") and re.fullmatch(rf"(?:\s*{NUMBER}\s*(?:{_WORD}))+", folded):
        return re.findall(rf"({NUMBER})\s*({_WORD})", folded)
    raise _unreadable(text, kind, examples)


def _unreadable(text: str, kind: QuantityKind, examples: str) -> UnitError:
    return UnitError(
        "quantity-unreadable", f"'{text.strip()}' cannot be read as {KIND_WORDS[kind]}.", f"Write {examples}."
    )


def _resolve(word: str, kind: QuantityKind, examples: str, *, precious: bool = False) -> str:
    """What pint calls a unit word of the wanted kind."""
    shown = word.strip()
    key = _key(word)
    words = vocabulary()
    if key in words.ambiguous and (kind == "length") == (key in _LENGTH_SLIPS):
        raise UnitError("unit-ambiguous", f"'{shown}' is not a clear unit.", f"{_sentence(words.ambiguous[key])}.")
    found = words.units.get(key)
    if found is None:
        raise _unknown(shown, key, kind, examples)
    if found[0] != kind:
        raise _wrong_kind(shown, KIND_WORDS[found[0]], kind, examples)
    if precious and key in ("oz", "ounce", "ounces"):
        raise UnitError(
            "ounce-ambiguous",
            "An ounce of gold can be troy (31.1 g) or avoirdupois (28.3 g): they differ by 10 %.",
            "Write ozt for the troy ounce that gold is quoted in, or oz avdp.",
        )
    return found[1]


_LENGTH_SLIPS = frozenset({"mic", "mics", "micro", "u", "μ"})


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _unknown(shown: str, key: str, kind: QuantityKind, examples: str) -> UnitError:
    """The error for a word that is not in the vocabulary: what it would have been, or what is close to it."""
    words = vocabulary()
    if key in words.ambiguous:
        return UnitError("unit-ambiguous", f"'{shown}' is not a clear unit of {kind}.", f"Write {examples}.")
    other = _kind_by_pint(shown)
    if other is not None and other != KIND_WORDS[kind]:
        return _wrong_kind(shown, other, kind, examples)
    same_kind = [w for w, (k, _) in words.units.items() if k == kind]
    close = difflib.get_close_matches(key, same_kind, n=3, cutoff=0.6)
    hint = f"Did you mean {' or '.join(close)}? " if close else ""
    return UnitError("unit-unknown", f"'{shown}' is not a known unit of {kind}.", f"{hint}Write {examples}.")


def _wrong_kind(shown: str, got: str, kind: QuantityKind, examples: str) -> UnitError:
    return UnitError(
        "unit-wrong-kind", f"'{shown}' measures {got}, but {KIND_WORDS[kind]} is needed.", f"Write {examples}."
    )


def _kind_by_pint(word: str) -> str | None:
    """What a word measures if pint knows it."""
    if not re.fullmatch(r"[^\W\d_]{1,30}", word):
        return None
    import pint

    registry = _registry()
    try:
        dimension = str(registry.get_dimensionality(registry.parse_units(word)))
    except (pint.errors.PintError, AttributeError, AssertionError, TypeError, ValueError):
        return None
    names = {"[length]": "length", "[length] ** 2": "area", "[mass]": "mass", "[length] ** 3": "volume"}
    if dimension in names:
        return KIND_WORDS[names[dimension]]
    return _OTHER_DIMENSIONS.get(dimension, "another kind of quantity")


def _to_base(value: Decimal, unit: str, base: str) -> Decimal:
    return Decimal(_registry().Quantity(value, unit).to(base).magnitude)
