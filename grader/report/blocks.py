"""What a report is made of, whatever it is written as: headings, sentences, tables and pictures."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is a section, 2 a part of it."""

    text: str
    level: int = 1


@dataclass(frozen=True)
class Text:
    """A paragraph; a strong one is a figure or a warning that must not be missed."""

    text: str
    is_strong: bool = False


@dataclass(frozen=True)
class Caveat:
    """What deserves less trust, and what to do about it."""

    message: str
    advice: str


@dataclass(frozen=True)
class Table:
    """A table; without heads its first column names the second.

    Attributes:
        columns: heads; empty texts for none.
        rows: as many texts each.
        title: above it, or empty.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""


@dataclass(frozen=True)
class Picture:
    """A picture.

    Attributes:
        jpeg: its file.
        width_px: of it.
        height_px: of it.
        alt: what it shows, in a sentence.
        caption: below it.
    """

    jpeg: bytes
    width_px: int
    height_px: int
    alt: str
    caption: str = ""


Block = Heading | Text | Caveat | Table | Picture
