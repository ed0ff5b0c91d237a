"""``--listing``: options that were not given, taken from the text of a listing, and from which words."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from calibration.errors import UnitError
from calibration.kinds import board_kind
from calibration.reading import FileKind, read_text
from grader.cli.currency import meant, own_money
from grader.cli.output import err
from grader.cli.terminal import readable
from grader.cli.value_options import ValueOptions
from grader.listing_text import Found, ListingText, read_listing_text
from grader.units import parse_asking_price

_LISTING = FileKind("listing-text", "the text of a listing", 1_000_000, "Save the listing as plain text, UTF-8.")


def with_listing(options: ValueOptions) -> ValueOptions:
    """The options with what the text of a listing says in place of those that were not given.

    Raises:
        DataFileError: the text cannot be read.
    """
    if options.listing is None:
        return options
    said = read_listing_text(_text(options.listing))
    taken = dict(_taken(options, said))
    if not taken:
        err.print("The listing says nothing sure that is still missing.", markup=False)
    values: dict[str, Any] = {name: found.value for name, found in taken.items()}
    return replace(options, **values)


def _text(path: Path) -> str:
    if str(path) != "-":
        return read_text(path, _LISTING)
    try:
        return sys.stdin.buffer.read(_LISTING.most_bytes).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _LISTING.invalid("the standard input", "it is not UTF-8 text") from error


def _taken(options: ValueOptions, said: ListingText) -> Iterator[tuple[str, Found]]:
    size_given = options.count or options.mass or options.parts is not None
    if said.count is not None and not size_given:
        _tell("count", said.count)
        yield "count", said.count
        if said.mass is not None:
            _tell("mass, not used beside the number", said.mass)
    elif said.mass is not None and not size_given:
        _tell("mass", said.mass)
        yield "mass", said.mass
    for name in ("asking", "postage"):
        found = cast("Found | None", getattr(said, name))
        if found is None or getattr(options, name) is not None:
            continue
        if _is_clear(found):
            _tell(name, found)
            yield name, found
        else:
            _tell(f"{name}, not used: say in which currency", found)
    yield from _kind(options, said)


def _kind(options: ValueOptions, said: ListingText) -> Iterator[tuple[str, Found]]:
    if said.kind is None or options.kind is not None:
        return
    found = replace(said.kind, value=board_kind(said.kind.value).words)
    if options.parts is None:
        _tell("kind of boards", found)
        yield "kind", found
    else:
        _tell("kind of boards, not used beside a file of parts", found)


def _is_clear(money: Found) -> bool:
    try:
        parse_asking_price(cast("str", meant(money.value, own_money())))
    except UnitError:
        return False
    return True


def _tell(name: str, found: Found) -> None:
    words = readable(f"From the listing: {name} {found.value}, read from “{found.words}”.")
    err.print(words, markup=False)
