"""Damage: to bytes, to text and to JSON documents, all of it from one source of random numbers."""

from __future__ import annotations

import copy
import json
import random
import re
import struct
from collections.abc import Callable, Sequence
from typing import Any

Damage = Callable[[random.Random, bytearray], bytearray]

_EDGES = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_NUMBERS = (
    "0", "-0", "-1", "1", "2", "0.5", "1e30", "1e300", "-1e300", "1e-300", "1e999", "9" * 20, "9" * 400, "9" * 5000,
    "nan", "inf", "-inf", "1_000", "1,5", "1.234,5", "1/2", "1/0", "0x10", "²", "½", "٣",
)  # fmt: skip
_TEXTS = (
    "", " ", "\x00", "\x1b[31m", "\x9b", "\u202e", "\ud800", "\ufeff", "é", "e\u0301", "ß", "İ", "𝟙", "💰", "'", '"',
    "\\", "\n", "\r\n", "../..", "x" * 300, "x" * 20_000, "=1+1", "a/b", "a\tb", "{}", "[[", "#", "null", "..",
    "…",
)  # fmt: skip
_WORDS = (
    "USD", "EUR", "$", "€", "kg", "g", "mg", "ozt", "oz", "lb", "%", "/g", "/ozt", "/h", "h", "min", "weeks", "mm",
    "in",    "l", "ml", "um", "uin", "x", "..", "per",
)  # fmt: skip


def damaged_bytes(rng: random.Random, data: bytes) -> bytes:
    """One to four kinds of damage, as often near the beginning, where formats keep their sizes, as anywhere."""
    found = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 4))):
        found = rng.choice(_DAMAGES)(rng, found)
    return bytes(found)


def _at(rng: random.Random, data: bytearray) -> int:
    reach = len(data) if rng.random() < 0.5 else min(len(data), 512)
    return rng.randrange(reach) if reach else 0


def _bits(rng: random.Random, data: bytearray) -> bytearray:
    for _ in range(rng.choice((1, 1, 2, 8, 64)) if data else 0):
        data[_at(rng, data)] ^= 1 << rng.randrange(8)
    return data


def _block(rng: random.Random, data: bytearray) -> bytearray:
    at, size = _at(rng, data), rng.choice((1, 4, 64, 512, 4096))
    size = min(size, len(data) - at)
    data[at : at + size] = rng.choice((bytes(size), b"\xff" * size, rng.randbytes(size)))
    return data


def _cut_out(rng: random.Random, data: bytearray) -> bytearray:
    at = _at(rng, data)
    del data[at : at + rng.choice((1, 2, 16, 256, 4096))]
    return data


def _put_in(rng: random.Random, data: bytearray) -> bytearray:
    at, source = _at(rng, data), _at(rng, data)
    size = rng.choice((1, 2, 16, 256, 4096))
    data[at:at] = rng.choice((bytes(data[source : source + size]), rng.randbytes(size)))
    return data


def _cut_short(rng: random.Random, data: bytearray) -> bytearray:
    return data[: rng.randrange(len(data) + 1)]


def _number_at(rng: random.Random, data: bytearray) -> bytearray:
    at, form = _at(rng, data), rng.choice(("<H", ">H", "<I", ">I"))
    size = struct.calcsize(form)
    if at + size <= len(data):
        data[at : at + size] = struct.pack(form, rng.choice(_EDGES) % (1 << 8 * size))
    return data


_DAMAGES: Sequence[Damage] = (_bits, _bits, _block, _cut_out, _put_in, _cut_short, _number_at, _number_at)


def damaged_text(rng: random.Random, text: str) -> str:
    """One to four changes: numbers, words and lines that stand for others, are gone or stand twice."""
    for _ in range(rng.choice((1, 1, 2, 4))):
        text = rng.choice((_other_number, _other_number, _other_word, _lines, _sign, _nested))(rng, text)
    return text


def _replaced(rng: random.Random, text: str, pattern: str, by: str) -> str:
    found = list(re.finditer(pattern, text))
    if not found:
        return text + by
    match = rng.choice(found)
    return text[: match.start()] + by + text[match.end() :]


def _other_number(rng: random.Random, text: str) -> str:
    return _replaced(rng, text, r"-?\d+(?:\.\d+)?", rng.choice(_NUMBERS))


def _other_word(rng: random.Random, text: str) -> str:
    return _replaced(rng, text, r"[^\W\d]+", rng.choice((*_WORDS, *_TEXTS)))


def _sign(rng: random.Random, text: str) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice((*_TEXTS, *'[]{}"=,;:.-/')) + text[at + rng.choice((0, 1)) :]


def _lines(rng: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    here, there = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(3):
        case 0:
            del lines[here]
        case 1:
            lines.insert(there, lines[here])
        case _:
            lines[here], lines[there] = lines[there], lines[here]
    return "".join(lines)


def _nested(rng: random.Random, text: str) -> str:
    if rng.random() < 0.7:
        return text
    deep = rng.choice(("[", "{a=", '{"a":', "{", "(")) * rng.choice((10, 3000))
    return _replaced(rng, text, r'"[^"\n]*"|\d+', deep)


def damaged_json(rng: random.Random, value: Any) -> bytes:
    """A document some of whose values are others, gone or of another kind; now and then damaged as text or bytes."""
    value = copy.deepcopy(value)
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        value = _changed(rng, value)
    text = json.dumps(value)
    kind = rng.random()
    if kind < 0.1:
        return damaged_text(rng, text).encode("utf-8", "surrogatepass")
    if kind < 0.15:
        return damaged_bytes(rng, text.encode())
    return text.encode()


def _changed(rng: random.Random, value: Any) -> Any:
    """The value with one of its parts changed: each level is as likely to be met as the next."""
    holder, key, here = None, None, value
    while isinstance(here, dict | list) and here and (holder is None or rng.random() < 0.85):
        holder, key = here, rng.choice(list(here) if isinstance(here, dict) else range(len(here)))
        here = holder[key]
    if holder is None:
        return _other(rng, value)
    what = rng.random()
    if what < 0.15:
        del holder[key]
    elif what < 0.25 and isinstance(holder, list):
        holder.append(copy.deepcopy(here))
    else:
        holder[key] = _other(rng, here)
    return value


def _other(rng: random.Random, value: Any) -> Any:
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e100 and rng.random() < 0.5:
        return value * rng.choice((-1, 0, 1e-30, 1e-6, 1e6, 1e30, 1e200))
    return rng.choice(
        (
            None, True, 0, -1, 1, 2, 10**30, 10**400, -(10**400), 1e300, -1e300, 1e-300, float("inf"),
            float("nan"), 0.5,
            [], {}, [[]], [{}], {"": {}}, [0] * 1000, value, [value], {"value": value}, str(value)[:100],
            *_TEXTS,
        )
    )  # fmt: skip
