"""The one place where text goes to a terminal: no control characters, and only displayable ones."""

from __future__ import annotations

import codecs
import io
import sys
import unicodedata
from collections.abc import Iterable, Mapping

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

# Marks that turn the direction of the text after them, so that a line reads otherwise than it is (Unicode 9, 2.1).
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
# Control characters, lone surrogates, and separators that break a line where no line ends.
_UNSEEN = frozenset({"Cc", "Cs", "Zl", "Zp"})

# What stands for a sign that an encoding lacks; letters with accents lose them.
_PLAINER: Mapping[str, str] = {
    "→": "->",
    "←": "<-",
    "×": "x",
    "÷": "/",
    "±": "+/-",
    "≈": "~",
    "µ": "u",
    "μ": "u",
    "Σ": "sum ",
    "√": "sqrt",
    "²": "2",
    "³": "3",
    "≤": "<=",
    "≥": ">=",
    "°": " deg",
    "–": "-",
    "—": "-",
    "‐": "-",
    "‑": "-",
    "−": "-",
    "‘": "'",
    "’": "'",
    "′": "'",
    "″": '"',
    "⁄": "/",
    "“": '"',
    "”": '"',
    "•": "*",
    "·": ".",
    "…": "...",
    "€": "EUR",
    "£": "GBP",
    "¥": "JPY",
    "ß": "ss",
    "æ": "ae",
    "œ": "oe",
    "ø": "o",
    "ł": "l",
    "Ł": "L",
    "đ": "d",
}
_ERRORS = "grader-plainer"


def readable(text: str) -> str:
    """Replace control characters in a text by visible signs. Line ends and tabs stay."""
    if text.isprintable():
        return text
    return "".join("\N{REPLACEMENT CHARACTER}" if _steers(c) else c for c in text)


def _steers(sign: str) -> bool:
    return sign in _TURNING or (unicodedata.category(sign) in _UNSEEN and sign not in "\n\t")


class Terminal(Console):
    """A console whose texts are readable, wherever they come from; its own colours and cursor moves stay."""

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """Segments of a text, table or bar."""
        for segment in super().render(renderable, options):
            yield segment if segment.control else Segment(readable(segment.text), segment.style)


def can_show(console: Console, text: str) -> bool:
    """Whether a console's encoding has all signs of a text, for what is worth nothing with plainer ones."""
    try:
        text.encode(console.encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def prepare_streams() -> None:
    """Let the standard streams put plainer signs for what their encoding lacks, instead of failing."""
    codecs.register_error(_ERRORS, _plainer)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_ERRORS)


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(_plain_sign, error.object[error.start : error.end])), error.end


def _plain_sign(sign: str) -> str:
    if sign in _PLAINER:
        return _PLAINER[sign]
    if "\u2500" <= sign <= "\u257f":  # lines of boxes
        return "-" if sign in "─━╌╍┄┅┈┉═╴╶╸╺" else "|" if sign in "│┃╎╏┆┇┊┋║╵╷╹╻" else "+"
    if "\u2800" <= sign <= "\u28ff":  # dots that turn while one waits
        return "*"
    return unicodedata.normalize("NFKD", sign).encode("ascii", "ignore").decode() or "?"
