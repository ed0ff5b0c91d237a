"""Numbers in text, read exactly or not at all."""

from __future__ import annotations

import re
import unicodedata
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal, InvalidOperation

from calibration.errors import UnitError

# Digits with group or decimal marks, or groups of three parted by spaces; a fraction ("1 1/2", "1/16"); an exponent.
NUMBER = (
    r"[+-]?\s*(?:(?:\d+\s+)?\d+\s*/\s*\d+"
    r"|(?:\d{1,3}(?:\ \d{3})+(?!\d)(?:[.,]\d+)?|\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d+)?)"
)
_FRACTION = re.compile(r"(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)")
_NOT_FINITE = re.compile(r"(?<![^\W\d])[+-]?(?:nan|inf|infinity|infinite|∞)(?![^\W\d])", re.IGNORECASE)
# In grams, from a millionth of a nanogram to a thousand million tonnes: beyond lie slips, and sums that decimals of
# 28 digits do not hold.
_MAX_EXPONENT = 15

# The characters that keyboards, spreadsheets and web pages put in place of the plain ones.
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("−–‐‑", "-"),
        **dict.fromkeys("“”″", '"'),
        **dict.fromkeys("‘’′", "'"),
        "⁄": "/",
        "µ": "μ",
        "×": "x",
        # A power stays visible as one: "10² mm" must not become 102 mm.
        **{small: f"^{digit}" for small, digit in zip("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-", strict=True)},
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
    }
)


def plain(text: str, what: str, examples: str) -> str:
    """Text with one form of each character and single spaces.

    Args:
        text: as typed.
        what: what is asked for, in words ("a length"), for the message.
        examples: for the advice.

    Raises:
        UnitError: nothing is left (``quantity-empty``), it is not finite (``value-not-finite``), or it is too long.
    """
    folded = unicodedata.normalize("NFKC", text.translate(_PLAIN)).translate(_PLAIN)
    folded = re.sub(r"\s+", " ", folded).replace("''", '"').strip()
    folded = re.sub(r"(\d)-(\d+\s*/\s*\d)", r"\1 \2", folded)  # "1-1/2 in" is one and a half
    if not folded:
        raise UnitError("quantity-empty", f"Nothing was given where {what} is needed.", f"Write {examples}.")
    if len(folded) > 200:
        raise UnitError("quantity-unreadable", f"This text is too long for {what}.", f"Write {examples}.")
    if _NOT_FINITE.search(folded):
        raise UnitError("value-not-finite", f"'{text}' is not a finite number.", f"Write {examples}.")
    return folded


def number(text: str, examples: str) -> Decimal:
    """The exact value of one number as typed.

    A dot is the decimal mark ("1.234" is one and a bit). A comma is the decimal mark where it cannot part thousands
    ("0,762", "31,25"); where it can ("1,234") the text is refused. With both, the last one is the decimal mark.

    Raises:
        UnitError: ``number-ambiguous``, ``number-unreadable`` or ``value-not-finite``.
    """
    bare = re.sub(r"^([+-]?)\s+", r"\1", text.strip())
    sign = -1 if bare.startswith("-") else 1
    fraction = _FRACTION.fullmatch(bare.lstrip("+-"))
    try:
        if fraction:
            whole, above, below = (Decimal(part or 0) for part in fraction.groups())
            return sign * (whole + above / below)
        value = Decimal(_with_decimal_dot(bare.replace(" ", "")))
    except (InvalidOperation, ZeroDivisionError, ValueError) as error:
        if isinstance(error, UnitError):
            raise
        raise UnitError("number-unreadable", f"'{text}' is not a number.", f"Write {examples}.") from error
    if not value.is_finite() or abs(value.adjusted()) > _MAX_EXPONENT:
        raise UnitError("value-not-finite", f"'{text}' is too large.", f"Write {examples}.")
    return value


def _with_decimal_dot(digits: str) -> str:
    """Group marks taken out, the decimal mark made a dot."""
    mantissa, mark, exponent = re.fullmatch(r"([^eE]*)([eE]?)(.*)", digits).groups()  # type: ignore[union-attr]
    commas, dots = mantissa.count(","), mantissa.count(".")
    grouped = re.fullmatch(r"[+-]?[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*(?:(?!\1)[.,]\d+)?", mantissa)
    if commas == 1 and dots == 0 and grouped:
        whole, part = mantissa.split(",")
        raise UnitError(
            "number-ambiguous",
            f"'{mantissa}' can be read as {whole}{part} or as {whole}.{part}.",
            f"Write {whole}{part} or {whole}.{part}.",
        )
    if commas + dots > 1:
        if not grouped:
            raise ValueError(mantissa)
        group = grouped.group(1)
        mantissa = mantissa.replace(group, "")
    return mantissa.replace(",", ".") + mark + exponent


def range_ends(text: str) -> tuple[str, ...]:
    """The parts of "85..98 %" or "8..10..15 USD", each with a unit: one that has none takes the last part's.

    Returns one part (the text itself) where no two dots are in it.
    """
    parts = [p.strip() for p in re.split(r"\.{2,}|…", text)]
    if len(parts) == 1:
        return (text,)
    unit = re.sub(rf"^\s*{NUMBER}", "", parts[-1]).strip()
    return tuple(f"{p} {unit}" if unit and re.fullmatch(NUMBER, p) else p for p in parts)


_BETWEEN = re.compile(rf"({NUMBER})\s*(?:-|–|—|\bto\b|\bor\b)\s*({NUMBER})(.*)", re.IGNORECASE)
_ABOUT = re.compile(
    rf"(?:about|around|approx\.?|approximately|roughly|circa|ca\.?|some|~|≈)\s*({NUMBER})(.*)", re.IGNORECASE
)
_ABOUT_SHARE = Decimal("0.1")  # either way (common practice, no source)


def spelled_range(text: str, *, whole: bool = False) -> str:
    """A range as people write one, as one with two dots: "3-4 kg" is "3..4 kg", "about 30" is "27..33".

    Args:
        text: as typed; one that spells no range comes back as it is.
        whole: whether only whole numbers make sense; the ends of "about" are then the nearest ones beyond.
    """
    between = _BETWEEN.fullmatch(text.strip())
    if between and "/" not in between[2]:  # "1-1/2" is one and a half
        low, high, unit = between.groups()
        return f"{low.strip()}..{high.strip()}{unit}"
    if about := _ABOUT.fullmatch(text.strip()):
        middle = number(about[1], "a number")
        low_end, high_end = middle * (1 - _ABOUT_SHARE), middle * (1 + _ABOUT_SHARE)
        if whole:
            low_end, high_end = low_end.to_integral(ROUND_FLOOR), high_end.to_integral(ROUND_CEILING)
        return f"{low_end.normalize():f}..{high_end.normalize():f}{about[2]}"
    return text


def parse_share(text: str) -> float:
    """A share of 0 to 1 from per cent: "93 %" is 0.93.

    A number without the sign is refused: 0.93 could mean 93 % or 0.93 %.

    Raises:
        UnitError: ``unit-missing``, ``quantity-unreadable``, ``share-out-of-range`` (below 0 or above 100 %), or as
            for any number.
    """
    examples = "a share in per cent such as '93 %'"
    folded = plain(text, "a share", examples)
    if re.fullmatch(NUMBER, folded):
        raise UnitError("unit-missing", f"'{text}' has no per cent sign.", f"Write {examples}.")
    match = re.fullmatch(rf"({NUMBER})\s*(?:%|percent|per cent|pct)", folded, re.IGNORECASE)
    if match is None:
        raise UnitError("quantity-unreadable", f"'{text}' is not a share.", f"Write {examples}.")
    share = number(match.group(1), examples) / 100
    if not 0 <= share <= 1:
        raise UnitError("share-out-of-range", f"A share of {text.strip()} is not possible.", "Write 0 % to 100 %.")
    return float(share)
