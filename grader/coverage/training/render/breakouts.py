"""Small boards with pads and planes: plated with gold, or the same in tin or copper."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString

from . import parts
from .design import Design
from .shapes import Rect, circle, rounded, text_shape


def breakout(rng: np.random.Generator, hard: float = 0.0, finish: str = "gold") -> Design:
    """A small board with headers, land patterns and open planes."""
    width, height = float(rng.uniform(28, 75)), float(rng.uniform(22, 60))
    out = rounded(0, 0, width, height, float(rng.choice([0, 1.5, 3])))
    d = Design("breakout" if finish == "gold" else "negative", rng, out, float(rng.choice([1.6, 1.2, 1.6])))
    d.finish = finish
    d.mask = str(rng.choice(["black", "purple", "red", "blue", "green", "white", "green"]))
    d.silk_colour = "white" if d.mask != "white" else "ink"
    if finish != "gold" and d.mask != "white":
        d.silk_colour = str(rng.choice(["yellow", "yellow", "white"]))
    _corners(d, width, height)
    body = (1.0, 4.0, width - 1, height - 4)
    w = float(rng.uniform(6, min(14, width * 0.35)))
    s = d.spot(w + 3, w + 3, body)
    if s:
        parts.package(d, s[0] + 1.5, s[1] + 1.5, w, w, str(rng.choice(["x", "y"])), 0.65, 1.3)
    _open_planes(d, width, height)
    _lands(d, body, hard)
    if rng.random() < 0.6:
        parts.shield(d, (0.4, 4, width - 0.4, height - 4))
    if rng.random() < 0.5:
        parts.moulded(d, body)
    _header(d, body)
    parts.scatter_chips(d, int(width * height / 90), body, ((1.0, 0.5), (1.6, 0.8)))
    parts.bare_chips(d, int(width * height / 200), body)
    s = d.spot(12, 2.4, body)
    if s:
        d.label(parts.word(d), 1.5, s[0] + 0.3, s[1] + 0.4)
    d.frames(10)
    if d.silk_colour == "yellow":
        _blocks(d)
    d.planes.append((width * 0.1, height * 0.1, width * 0.9, height * 0.9))
    d.routes(30, (0.2, 0.4))
    d.vias(50)
    return d


def _corners(d: Design, width: float, height: float) -> None:
    rng = d.rng
    hole, ring = float(rng.uniform(1.1, 1.7)), float(rng.uniform(0.6, 1.5))
    m = hole + ring + 0.8
    for x, y in ((m, m), (width - m, m), (m, height - m), (width - m, height - m)):
        if rng.random() < 0.9:
            d.hole(x, y, hole, ring, d.finish)
            if d.finish != "gold" and rng.random() < 0.5:
                parts.standoff(d, x, y, hole + ring * 0.6 + 0.3, float(rng.uniform(4, 7)))
    count = int((width - 2 * m - 3) // 2.54)
    x0 = (width - (count - 1) * 2.54) / 2
    for y in (1.9, height - 1.9):
        for i in range(count):
            x = x0 + 2.54 * i
            d.through_pad(x, y, 0.5, 0.9, i == 0)
            if rng.random() < 0.7:
                text = str(rng.choice(["A0", "B1", "G", "V", "X", "T2", "IO", "P7"]))
                d.label(text, 0.9, x - 0.6, y + (1.3 if y < height / 2 else -2.2))
        d.claim(m, y - 1.5, width - m, y + 1.5)


def _open_planes(d: Design, width: float, height: float) -> None:
    rng = d.rng
    for _ in range(int(rng.integers(1, 4))):
        w, h = float(rng.uniform(4, width * 0.3)), float(rng.uniform(4, height * 0.3))
        s = d.spot(w + 1, h + 1, (1, 4, width - 1, height - 4))
        if not s:
            continue
        shape = rounded(s[0] + 0.5, s[1] + 0.5, s[0] + 0.5 + w, s[1] + 0.5 + h, float(rng.uniform(0, 2)))
        if rng.random() < 0.4:
            at = np.arange(60) * 1.6 + s[0] - 30
            bars = [LineString([(x, s[1] - 5), (x + h + 12, s[1] + h + 7)]).buffer(0.45, quad_segs=1) for x in at]
            shape = shape.intersection(shapely.union_all(bars))
        d.pad(shape)


def _blocks(d: Design) -> None:
    """Large filled blocks of print with letters left out of them."""
    width, height = d.size
    for _ in range(3):
        s = d.spot(7, 4, (1, 4, width - 1, height - 4))
        if s:
            text = text_shape(str(d.rng.choice(["U3", "K9", "C2"])), 1.6, s[0] + 0.8, s[1] + 0.8)
            d.silk.shapes.append(rounded(s[0], s[1], s[0] + 6, s[1] + 3.2).difference(text))


def _lands(d: Design, body: Rect, hard: float) -> None:
    """Land patterns without their parts, and test points."""
    rng = d.rng
    for _ in range(int(rng.integers(1, 4))):
        k, p = int(rng.integers(4, 12)), float(rng.choice([0.65, 0.8, 1.27]))
        s = d.spot(k * p + 1, 6.4, body)
        if s:
            for i in range(k):
                for y in (s[1] + 0.3, s[1] + 4.3):
                    x = s[0] + 0.5 + i * p
                    d.pad(rounded(x, y, x + p * 0.55, y + 1.7, 0.05 if hard < rng.random() else 0.3))
    for _ in range(int(rng.integers(0, 3))):
        s = d.spot(2.4, 2.4, body)
        if s:
            d.pad(circle(s[0] + 1.2, s[1] + 1.2, float(rng.uniform(0.6, 1.0))))


def _header(d: Design, body: Rect) -> None:
    """Perhaps a connector."""
    rng = d.rng
    if rng.random() < 0.4:
        k = int(rng.integers(2, 6))
        s = d.spot(k * 2.54 + 1, 6.6, body)
        if s:
            kind = str(rng.choice(["white", "beige", "black"]))
            pins = str(rng.choice(["dimple", "tinlead", "goldlead"]))
            parts.connector(d, s[0] + 0.5, s[1] + 0.3, k * 2.54, 5.8, 6.5 if pins == "dimple" else 2.5, kind, pins)
