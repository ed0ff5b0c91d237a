"""Boards of plain metal areas: plated planes with holes and letters in them, rings, coils, and bare laminate."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, box

from . import parts
from .design import METAL_OF, Design
from .shapes import Flat, circle, rounded, text_shape

MASKS = ("black", "green", "white", "red", "blue", "purple", "green", "none")


def _outline(rng: np.random.Generator, width: float, height: float) -> Any:
    if rng.random() < 0.15:
        return circle(width / 2, width / 2, width / 2, 24)
    return rounded(0, 0, width, height, float(rng.choice([0, 1.5, 4])))


def plane(rng: np.random.Generator, hard: float = 0.0, finish: str = "gold") -> Design:
    """A card covered mostly by one to four metal planes of 8 to 45 mm."""
    width, height = float(rng.uniform(30, 90)), float(rng.uniform(22, 60))
    d = Design("plane", rng, _outline(rng, width, height), float(rng.choice([1.6, 1.0, 0.8])))
    width, height = d.size
    d.finish, d.mask = finish, str(rng.choice(MASKS))
    d.silk_colour = "ink" if d.mask == "white" else str(rng.choice(["white", "yellow", "white"]))
    if rng.random() < 0.4 + 0.3 * hard:
        edge = float(rng.uniform(0.4, 5))
        _fill(d, box(edge, edge, width - edge, height - edge).intersection(d.outline.buffer(-edge)))
    else:
        for _ in range(int(rng.integers(1, 5))):
            w, h = float(rng.uniform(8, min(45, width * 0.8))), float(rng.uniform(6, min(40, height * 0.8)))
            s = d.spot(w, h, (1, 1, width - 1, height - 1))
            if s:
                _fill(d, rounded(s[0], s[1], s[0] + w, s[1] + h, float(rng.choice([0, 0.5, 2, 5]))))
        parts.scatter_chips(d, int(width * height / 120), (1, 1, width - 1, height - 1))
        parts.bare_chips(d, int(width * height / 200), (1, 1, width - 1, height - 1))
    for _ in range(int(rng.integers(0, 4))):
        s = d.spot(14, 3, (1, 1, width - 1, height - 1))
        if s:
            d.label(parts.word(d), float(rng.uniform(1.2, 2.4)), s[0] + 0.3, s[1] + 0.4)
    d.routes(12, (0.2, 0.6))
    d.vias(30)
    d.looks.append(f"plane of {finish}")
    return d


def _fill(d: Design, shape: Any) -> None:
    """Add a metal plane with holes, slots, letters of mask or of bare laminate, and engraving in it."""
    rng = d.rng
    a, b, c, e = shape.bounds
    less: list[Any] = []
    for _ in range(int(rng.choice([0, 2, 8, 30]))):
        x, y, r = float(rng.uniform(a, c)), float(rng.uniform(b, e)), float(rng.choice([0.15, 0.3, 0.6, 1.5]))
        d.holes.append((circle(x, y, r, 3), d.finish))
        less.append(circle(x, y, r, 3))
    if rng.random() < 0.35:  # rows of vias
        pitch = float(rng.choice([1.0, 1.27, 2.54]))
        for x in np.arange(a + 1, c - 1, pitch)[:40]:
            hole = circle(float(x), b + 1.0, 0.2, 2)
            d.holes.append((hole, d.finish))
            less.append(hole)
    if rng.random() < 0.5:
        size = float(rng.uniform(1.0, min(8.0, 0.4 * (e - b) + 1)))
        lines = range(int(rng.integers(1, 4)))
        less += [text_shape(parts.word(d), size, a + 0.1 * (c - a), e - 1.7 * size * (k + 1)) for k in lines]
    if rng.random() < 0.3:  # slots that divide it
        starts = rng.uniform(a, c, int(rng.integers(1, 4)))
        less += [box(x, b - 1, x + float(rng.uniform(0.2, 1.0)), e + 1) for x in starts]
    if rng.random() < 0.2:  # hatching
        step = float(rng.uniform(1.0, 2.5))
        bars = [box(x, b - 1, x + step * 0.45, e + 1) for x in np.arange(a, c, step)]
        less.append(shapely.union_all(bars))
    left = shape.difference(shapely.union_all(less)) if less else shape
    if not d.openings and rng.random() < 0.3:  # letters of laminate, not of mask
        d.openings.append(shape.buffer(0.3).intersection(d.outline))
    d.pad(left)
    d.claim(a, b, c, e)
    _marked(d, shape)


def _marked(d: Design, shape: Any) -> None:
    """Scratches and engraving that cut through the plating: nickel, copper or laminate shows in thin lines."""
    rng = d.rng
    if rng.random() < 0.5:
        return
    a, b, c, e = shape.bounds
    lines = []
    for _ in range(int(rng.choice([2, 6, 20]))):
        p = rng.uniform((a, b), (c, e))
        q = p + rng.normal(0, 0.3 * (c - a), 2)
        lines.append(
            LineString([p, (p + q) / 2 + rng.normal(0, 0.4, 2), q]).buffer(
                float(rng.uniform(0.015, 0.12)), quad_segs=1
            )
        )
    if rng.random() < 0.4:
        lines.append(text_shape(parts.word(d), float(rng.uniform(0.8, 4)), a + 0.15 * (c - a), b + 0.15 * (e - b)))
    below = str(rng.choice(["tin", "copper"]))
    cuts = shapely.union_all(lines).intersection(shape)
    name = METAL_OF[d.finish]
    if below == d.finish:
        below = "copper" if below == "tin" else "tin"
    d.metals[name].shapes = [s.difference(cuts) for s in d.metals[name].shapes]
    d.metals[METAL_OF[below]].shapes.append(cuts)
    d.looks.append("engraved")


def rings(rng: np.random.Generator, hard: float = 0.0, finish: str = "gold") -> Design:
    """Rings, coils and open tracks on a small board."""
    width, height = float(rng.uniform(25, 70)), float(rng.uniform(25, 60))
    d = Design("rings", rng, _outline(rng, width, height), 1.6)
    width, height = d.size
    d.finish, d.mask = finish, str(rng.choice(MASKS))
    d.silk_colour = "ink" if d.mask == "white" else "white"
    for _ in range(int(rng.integers(1, 6))):
        r = float(rng.uniform(1.5, min(11.0, 0.4 * min(width, height))))
        s = d.spot(2 * r + 1, 2 * r + 1, (0.5, 0.5, width - 0.5, height - 0.5))
        if not s:
            continue
        x, y = s[0] + r + 0.5, s[1] + r + 0.5
        if rng.random() < 0.4 and r > 3:
            _coil(d, x, y, r)
        else:
            wide = float(rng.uniform(0.25, 0.6) * r) if r < 4 else float(rng.uniform(0.4, 3))
            hole = circle(x, y, max(r - wide, 0.2), 8)
            d.pad(circle(x, y, r, 10).difference(hole))
            if rng.random() < 0.6:
                d.holes.append((hole, d.finish))
    for _ in range(int(rng.integers(4, 25))):
        s = d.spot(2.6, 2.6, (0.5, 0.5, width - 0.5, height - 0.5))
        if s:
            hole = float(rng.uniform(0.25, 0.8))
            d.through_pad(
                s[0] + 1.3, s[1] + 1.3, hole, hole + float(rng.uniform(0.15, 0.45)), bool(rng.random() < 0.15)
            )
    if rng.random() < 0.5 * hard + 0.2:
        taken = shapely.union_all([box(*t) for t in d.taken])
        for _ in range(15):  # tracks without mask
            p = rng.uniform((2, 2), (width - 2, height - 2))
            q = p + rng.normal(0, 10, 2)
            track = LineString([p, (q[0], p[1]), q]).buffer(float(rng.uniform(0.1, 0.6)), quad_segs=2)
            if d.outline.buffer(-0.5).contains(track) and not taken.intersects(track):
                d.pad(track)
    parts.scatter_chips(d, 10, (0.5, 0.5, width - 0.5, height - 0.5))
    d.frames(6)
    d.routes(15)
    d.vias(20)
    d.looks.append(f"rings of {finish}")
    return d


def _coil(d: Design, x: float, y: float, r: float) -> None:
    wide = float(d.rng.uniform(0.15, 0.5))
    turns = int((r - 1) / (2.2 * wide))
    t = np.linspace(0, 2 * np.pi * turns, 36 * max(turns, 1))
    radius = r - t / (2 * np.pi) * 2.2 * wide
    line = LineString(np.c_[x + radius * np.cos(t), y + radius * np.sin(t)])
    d.pad(line.buffer(wide / 2, quad_segs=1, cap_style="flat"))


def bare(rng: np.random.Generator, hard: float = 0.0) -> Design:
    """Laminate without plating: blank, drilled, or with remains of copper and tin."""
    width, height = float(rng.uniform(25, 120)), float(rng.uniform(18, 80))
    d = Design("bare", rng, _outline(rng, width, height), float(rng.choice([1.6, 0.8, 1.2])))
    width, height = d.size
    d.mask, d.finish = "none", str(rng.choice(["tin", "copper"]))
    d.silk_colour = str(rng.choice(["white", "yellow", "ink"]))
    kind = int(rng.integers(4))
    if kind == 0:  # strips and pads of a wiring board
        step = 2.54
        for x in np.arange(2.5, width - 2, step):
            for y in np.arange(2.5, height - 2, step):
                hole = circle(float(x), float(y), 0.5, 2)
                d.holes.append((hole, None))
                if hard > 0.5:
                    d.metals[METAL_OF[d.finish]].shapes.append(circle(float(x), float(y), 0.95, 3).difference(hole))
    elif kind == 1:
        for _ in range(int(rng.integers(5, 60))):
            x, y = rng.uniform((1, 1), (width - 1, height - 1)).tolist()
            d.holes.append((circle(x, y, float(rng.uniform(0.3, 1.6)), 3), None))
    elif kind == 2:
        for _ in range(int(rng.integers(3, 12))):
            parts.axial(d, (1, 1, width - 1, height - 1))
        for _ in range(30):
            p = rng.uniform((2, 2), (width - 2, height - 2))
            track = LineString([p, p + (rng.normal(0, 12), 0), p + rng.normal(0, 12, 2)]).buffer(0.6, quad_segs=2)
            if d.outline.buffer(-0.5).contains(track):
                d.pad(track)
    for _ in range(int(rng.integers(0, 6))):
        d.label(parts.word(d), float(rng.uniform(1.2, 4)), *rng.uniform((1, 1), (width * 0.7, height - 4)).tolist())
    d.looks.append("bare laminate")
    return d


def strip_of_gold(d: Design) -> Design:
    """Take the plating off a design: tin, copper or bare laminate takes its place."""
    rng = d.rng
    d.looks.append("no gold")
    for name in ("gold_finger", "gold_pad"):
        layer, instead = d.metals[name], str(rng.choice(["tin", "copper", "none"], p=[0.5, 0.25, 0.25]))
        if not layer:
            continue
        d.metals[name] = Flat()
        if instead == "none":
            d.openings += [*layer.shapes, *(box(*r) for r in layer.rects)]
        else:
            d.metals[instead].rects += layer.rects
            d.metals[instead].shapes += layer.shapes
    d.holes = [(shape, "tin" if wall == "gold" else wall) for shape, wall in d.holes]
    d.solids = [s._replace(material="tinlead") if s.material == "goldlead" else s for s in d.solids]
    return d
