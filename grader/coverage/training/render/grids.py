"""Land grids on packages, modules with pads along their edges, and large arrays of pads."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely.geometry import box

from . import parts
from .colours import RARE_MASKS
from .design import Design
from .shapes import circle, rounded


def land_grid(rng: np.random.Generator, hard: float = 0.0, finish: str = "gold") -> Design:
    """The underside of a package: lands in a grid, a field of parts in the middle."""
    side = float(rng.uniform(18, 48))
    other = side if rng.random() < 0.7 else float(rng.uniform(18, 48))
    d = Design(
        "land_grid", rng, rounded(0, 0, side, other, float(rng.choice([0, 0.5]))), float(rng.uniform(0.8, 1.4))
    )
    d.finish = finish
    d.mask = str(rng.choice(["green", "green", "darkgreen", "brown", "tan", "olive", "blue", "black"]))
    pitch = float(rng.choice([0.8, 1.0, 1.02, 1.27]))
    size = pitch * float(rng.uniform(0.5, 0.78))
    kind = str(rng.choice(["round", "square", "slanted"]))
    edge = float(rng.uniform(0.8, 2.5))
    hollow = float(rng.choice([0, 0.3, 0.45, 0.6]))
    skip = float(rng.choice([0, 0, 0.03]))
    rows, columns = int((other - 2 * edge) // pitch) + 1, int((side - 2 * edge) // pitch) + 1
    stagger = bool(rng.random() < 0.2)
    x0, y0 = (side - (columns - 1) * pitch) / 2, (other - (rows - 1) * pitch) / 2
    gaps = rng.random((rows, columns)) < skip
    for i in range(rows):
        for j in range(columns):
            x, y = x0 + j * pitch + (pitch / 2 if stagger and i % 2 else 0), y0 + i * pitch
            inside = abs(x / side - 0.5) < hollow / 2 and abs(y / other - 0.5) < hollow / 2
            if not inside and not gaps[i, j] and x < side - edge / 2:
                d.pad(_land(kind, x, y, size))
    if hollow:
        w, h = side * hollow, other * hollow
        a, b = (side - w) / 2, (other - h) / 2
        for t in ((0, 0, side, b), (0, b + h, side, other), (0, b, a, b + h), (a + w, b, side, b + h)):
            d.claim(*t)
        parts.scatter_chips(d, int(w * h / 5), (a, b, a + w, b + h), ((1.0, 0.5), (1.6, 0.8)))
    if rng.random() < 0.3:
        corner = 0.3 + edge / 3
        d.pad((corner, corner, corner + 0.8, corner + 0.8))
    d.vias(100)
    d.looks.append(f"land grid of {finish}")
    if hard > 0.5 and rng.random() < 0.3:
        d.mask = str(rng.choice(RARE_MASKS))
    return d


def _land(kind: str, x: float, y: float, size: float) -> Any:
    h = size / 2
    if kind == "round":
        return circle(x, y, h, 3)
    if kind == "square":
        return (x - h, y - h, x + h, y + h)
    return rounded(x - h, y - 0.8 * h, x + h, y + 0.8 * h, 0.3 * size, 2)


def module(rng: np.random.Generator, hard: float = 0.0, finish: str = "gold") -> Design:
    """A small module: pads along the edges, half holes, a metal lid or open pads inside."""
    width, height = float(rng.uniform(10, 40)), float(rng.uniform(10, 32))
    d = Design("module", rng, box(0, 0, width, height), float(rng.choice([0.8, 1.0, 1.6])))
    d.finish = finish
    d.mask = str(rng.choice(["green", "black", "blue", "white", "red", "purple", "black"]))
    d.silk_colour = "ink" if d.mask == "white" else "white"
    pitch = float(rng.choice([1.0, 1.27, 1.5, 2.0, 2.54]))
    wide, deep = pitch * float(rng.uniform(0.5, 0.7)), float(rng.uniform(0.8, 2.0))
    halves = bool(rng.random() < 0.6)
    for along, length in (("x", width), ("y", height)):
        if along == "x" and rng.random() < 0.3:
            continue
        n = int((length - 2) // pitch)
        for side in (0, 1):
            for i in range(n):
                c = (length - (n - 1) * pitch) / 2 + i * pitch
                low = 0.0 if side == 0 else (height if along == "x" else width) - deep
                rect = (
                    (c - wide / 2, low, c + wide / 2, low + deep)
                    if along == "x"
                    else (low, c - wide / 2, low + deep, c + wide / 2)
                )
                _half_hole(d, rect, c, along, side, wide * 0.3 if halves else 0.0)
    d.claim(0, 0, width, deep + 0.3)
    d.claim(0, height - deep - 0.3, width, height)
    body = (deep + 0.3, deep + 0.3, width - deep - 0.3, height - deep - 0.3)
    if rng.random() < 0.4 and body[2] - body[0] > 6 and body[3] - body[1] > 6:
        w, h = (body[2] - body[0]) * 0.7, (body[3] - body[1]) * 0.7
        s = d.spot(w, h, body)
        if s:
            d.solid(
                "box", str(rng.choice(["steel", "steel", "brass", "alu"])), (s[0], s[1], s[0] + w, s[1] + h), 0, 1.8
            )
            d.mark(parts.word(d), min(1.6, h * 0.2), s[0] + 0.1 * w, s[1] + 0.5 * h, 1.81, "ink")
    else:
        _thermal(d, body)
    parts.scatter_chips(d, int(width * height / 18), body, ((1.0, 0.5), (1.6, 0.8)))
    parts.bare_chips(d, 4, body)
    d.frames(5)
    d.routes(10, (0.12, 0.25))
    d.vias(20)
    d.looks.append(f"module with {finish}")
    if hard > 0.5 and rng.random() < 0.2:
        d.mask = str(rng.choice(RARE_MASKS))
    return d


def _half_hole(d: Design, rect: tuple[float, float, float, float], c: float, along: str, side: int, r: float) -> None:
    if r <= 0:
        d.pad(rect)
        return
    width, height = d.size
    far = 0.0 if side == 0 else (height if along == "x" else width)
    bite = circle(c, far, r, 3) if along == "x" else circle(far, c, r, 3)
    d.pad(box(*rect).difference(bite))
    d.outline = d.outline.difference(bite)


def _thermal(d: Design, body: tuple[float, float, float, float]) -> None:
    """A field of square pads, as under a chip."""
    s = d.spot((body[2] - body[0]) * 0.5, (body[3] - body[1]) * 0.5, body)
    if not s:
        return
    w, h = (body[2] - body[0]) * 0.5, (body[3] - body[1]) * 0.5
    n = int(d.rng.integers(1, 5))
    gap = 0.0 if n == 1 else 0.25
    for i in range(n):
        for j in range(n):
            a, b = s[0] + i * w / n, s[1] + j * h / n
            d.pad((a, b, a + w / n - gap, b + h / n - gap))


def pads(rng: np.random.Generator, hard: float = 0.0, finish: str = "gold") -> Design:
    """A board with many pads of one kind: test fields, buttons of combs, key contacts."""
    width, height = float(rng.uniform(30, 80)), float(rng.uniform(20, 60))
    d = Design("pads", rng, rounded(0, 0, width, height, 1.0), 1.6)
    d.finish = finish
    d.mask = str(rng.choice(["green", "white", "black", "purple", "red", "blue", "green"]))
    d.silk_colour = "ink" if d.mask == "white" else str(rng.choice(["white", "yellow"]))
    kind = str(rng.choice(["dots", "combs", "bars"]))
    size = float(rng.uniform(0.8, 3.5) if kind != "combs" else rng.uniform(5, 11))
    step = size * float(rng.uniform(1.4, 2.6))
    for x in np.arange(step, width - step / 2, step):
        for y in np.arange(step, height - step / 2, step):
            if kind == "dots":
                d.pad(circle(float(x), float(y), size / 2, 5))
            elif kind == "bars":
                d.pad((float(x) - size / 2, float(y) - size / 5, float(x) + size / 2, float(y) + size / 5))
            else:
                _comb(d, float(x), float(y), size)
            d.claim(float(x) - size / 2, float(y) - size / 2, float(x) + size / 2, float(y) + size / 2)
    parts.scatter_chips(d, 20, (1, 1, width - 1, height - 1))
    d.frames(30)
    d.routes(25)
    d.vias(40)
    d.looks.append(f"pads of {finish}")
    if hard > 0.5 and rng.random() < 0.3:
        d.mask = str(rng.choice(RARE_MASKS))
    return d


def _comb(d: Design, x: float, y: float, size: float) -> None:
    """A key's contact: a disc cut into two combs."""
    shape = circle(x, y, size / 2, 8)
    gap = float(d.rng.uniform(0.2, 0.45))
    step = 2.2 * gap + 0.4
    bars = [box(x - size, v, x + size, v + gap) for v in np.arange(y - size / 2 + gap, y + size / 2, step)]
    for bar in bars:
        shape = shape.difference(bar)
    d.pad(shape)
