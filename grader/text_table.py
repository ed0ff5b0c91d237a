"""A table of short texts, whoever shows it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TextTable:
    """A table ready to show.

    Attributes:
        title: of the table.
        columns: their heads.
        rows: as many texts each as there are columns.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
