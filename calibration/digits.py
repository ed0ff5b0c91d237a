"""Numbers as people write them: to some significant digits, never as a power of ten."""

from __future__ import annotations

from decimal import Decimal


def in_digits(value: float, digits: int = 3) -> str:
    """A value to so many significant digits, zeros at the end of its decimals left out, never as a power of ten."""
    if value == 0:
        return "0"
    text = f"{Decimal(f'{value:.{digits}g}'):f}"
    return with_minus(text.rstrip("0").rstrip(".") if "." in text else text)


def as_given(value: float) -> str:
    """A value that a person gave, as far as six digits tell it."""
    return in_digits(value, 6)


def with_minus(number: str) -> str:
    """A number with the minus sign of print, which is as wide as a plus and is not taken for a dash or a hyphen."""
    return number.replace("-", "\N{MINUS SIGN}", 1)
