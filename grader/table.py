"""A table of short texts, whoever shows it.

One that holds something else raises a TypeError, before anything is written.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Table:
    """A table ready to show; without heads its first column names the second.

    Attributes:
        columns: heads; empty texts for none.
        rows: as many texts each.
        title: above it, or empty.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""

    def __post_init__(self) -> None:
        for text in (*self.columns, self.title, *(cell for row in self.rows for cell in row)):
            if not isinstance(text, str):
                raise TypeError(text)
