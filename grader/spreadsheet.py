"""Cells of CSV files that spreadsheets open."""

from __future__ import annotations

# A spreadsheet takes a cell that starts with one of these for a formula, and runs it.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def csv_cell(value: object) -> str:
    """A value as the text of a cell; text that would be run as a formula gets an apostrophe in front."""
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return f"'{value}"
    return "" if value is None else str(value)
