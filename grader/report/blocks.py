"""What a report is made of, whatever it is written as: headings, sentences, tables and pictures.

Their texts come out of JSON documents; one that holds something else raises a TypeError, before anything is written.
"""

from __future__ import annotations

from dataclasses import dataclass

from grader.table import Table


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is a section, 2 a part of it."""

    text: str
    level: int = 1

    def __post_init__(self) -> None:
        _check_texts(self.text)


@dataclass(frozen=True)
class Text:
    """A paragraph; a strong one is a figure or a warning that must not be missed."""

    text: str
    is_strong: bool = False

    def __post_init__(self) -> None:
        _check_texts(self.text)


@dataclass(frozen=True)
class Caveat:
    """What deserves less trust, and what to do about it; its code, where it has one."""

    message: str
    advice: str
    code: str = ""

    def __post_init__(self) -> None:
        _check_texts(self.message, self.advice, self.code)


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


def _check_texts(*texts: object) -> None:
    for text in texts:
        if not isinstance(text, str):
            raise TypeError(text)
