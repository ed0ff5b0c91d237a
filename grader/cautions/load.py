"""The loader of ``cautions.toml``: cautions by the place where they show."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cache
from typing import Any, Literal

from calibration.packaged import packaged_toml

Place = Literal["cut", "batch"]


@dataclass(frozen=True)
class Caution:
    """One caution.

    Attributes:
        code: stable name.
        text: one or two sentences.
        source: where it comes from.
        how_known: as in ``calibration.sourced``.
        shown: the places where it shows.
        short: the same in a few words, where the worst has to be in sight; empty for what need not be.
    """

    code: str
    text: str
    source: str
    how_known: str
    shown: tuple[str, ...]
    short: str = ""


@cache
def _data() -> dict[str, Any]:
    return packaged_toml("grader.cautions", "cautions.toml")


@cache
def cautions_for(place: Place) -> tuple[Caution, ...]:
    """The cautions that a place shows, in order."""
    all_of = (
        Caution(code, c["text"], c["source"], c["how_known"], tuple(c["shown"]), c.get("short", ""))
        for code, c in _data()["caution"].items()
    )
    return tuple(c for c in all_of if place in c.shown)


def lines_for(place: Place) -> list[str]:
    """The cautions of a place as lines for paper and terminal."""
    return [c.text for c in cautions_for(place)]


def short_lines_for(place: Place) -> list[str]:
    """What of it has to be in sight where all of it stands behind a fold: the worst, and whom to defer to."""
    worst = " ".join(c.short for c in cautions_for(place) if c.short)
    return [worst, cautions_for(place)[-1].text]


def documents_for(place: Place) -> list[dict[str, Any]]:
    """The cautions of a place for a JSON document."""
    return [{k: v for k, v in asdict(c).items() if k not in ("shown", "short")} for c in cautions_for(place)]
