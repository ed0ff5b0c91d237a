"""Conversion of numbers as listings write them into plain numbers with a decimal point."""

from __future__ import annotations

import re

NUMBER = r"(?:\d{1,3}(?:[ ']\d{3})+(?:[.,]\d{1,2})?(?!\d)|\d+(?:[.,]\d+)*)"
FREE = r"(?<![\w.,#/-])"
"""Before a number: nothing that makes it part of a name or of a longer number."""
RANGE = rf"{NUMBER}(?:\s*(?:-|\.\.|to|bis|a|do|hasta|jusqu'a)\s*{NUMBER})?"
"""A number, or two with a word of a range between."""
BETWEEN = rf"(?:between|zwischen|entre|miedzy)\s+{NUMBER}\s+(?:and|und|et|y|a)\s+{NUMBER}"


def plain_number(text: str, *, comma: bool | None, grouped_by_three: bool = False) -> str | None:
    """A number with a decimal point and no groups; None if its mark could mean either.

    Args:
        text: the number as written, folded.
        comma: whether the listing writes decimals after a comma; None if unknown.
        grouped_by_three: whether three digits after a mark are always a group: nobody writes money to the thousandth.
    """
    digits = re.sub(r"[ ']", "", text)
    marks = re.findall(r"[.,]", digits)
    if not marks:
        return digits
    last = marks[-1]
    whole, _, part = digits.rpartition(last)
    if len(set(marks)) > 1:
        return f"{re.sub(r'[.,]', '', whole)}.{part}" if marks.count(last) == 1 else None
    if len(marks) > 1:
        return digits.replace(last, "") if re.fullmatch(r"\d{1,3}(?:[.,]\d{3})+", digits) else None
    if len(part) != 3 or whole in ("", "0") or len(whole) > 3:
        return f"{whole or '0'}.{part}"
    if grouped_by_three:
        return whole + part
    if comma is None:
        return None
    return f"{whole}.{part}" if (last == ",") == comma else whole + part


def plain_range(text: str, *, comma: bool | None, grouped_by_three: bool = False) -> str | None:
    """One number, or two as a range "28..32"; None if either is unclear or they do not increase."""
    parts = [plain_number(n, comma=comma, grouped_by_three=grouped_by_three) for n in re.findall(NUMBER, text)]
    if len(parts) == 1:
        return parts[0]
    low, high = parts[0], parts[-1]
    if len(parts) != 2 or low is None or high is None or not float(low) < float(high):
        return None
    return f"{low}..{high}"
