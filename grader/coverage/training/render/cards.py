"""Boards with edge contacts: memory modules, expansion cards, wide-pitch cards, strips."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon, box

from . import parts
from .contacts import contact_row, metal_and_gone
from .design import Design
from .shapes import Rect, circle, rounded


def _pick(rng: np.random.Generator, *options: str) -> str:
    return str(rng.choice(options))


def _bare_zone(d: Design, rect: tuple[float, float, float, float], share: float, hard: float) -> None:
    """Leave the mask off round the contacts; a bevel is laminate too."""
    if d.rng.random() < share + 0.25 * hard:
        d.openings.append(box(*rect))


def memory(rng: np.random.Generator, hard: float = 0.0, tin: bool = False) -> Design:
    """A memory module."""
    length = float(rng.choice([133.35, 133.35, 107.9, 69.6, 67.6]))
    height = float(rng.uniform(25.4, 33))
    pitch = float(rng.choice([1.27, 1.0, 0.85] if length > 100 else [1.0, 0.8, 0.6]))
    width, finger = pitch * float(rng.uniform(0.68, 0.8)), float(rng.uniform(2.4, 3.6))
    gap, side = float(rng.uniform(0.25, 0.5)), float(rng.uniform(3.2, 5))
    notch, notch_w, notch_h = (
        length * float(rng.uniform(0.4, 0.6)),
        float(rng.uniform(1.6, 3)),
        float(rng.uniform(3.2, 4.6)),
    )
    bevel = float(rng.uniform(0.4, 1.4)) if rng.random() < 0.38 * hard else 0.0
    gap += bevel
    out = box(0, 0, length, height).difference(
        rounded(notch - notch_w / 2, -2, notch + notch_w / 2, notch_h + bevel, notch_w * 0.45)
    )
    clip = height * float(rng.uniform(0.5, 0.65))
    out = out.difference(circle(0, clip, float(rng.uniform(1.5, 2.1)))).difference(circle(length, clip, 1.8))
    d = Design("memory", rng, out, float(rng.choice([1.27, 1.2, 1.0])))
    d.bevel_mm = bevel
    d.mask = _pick(rng, "green", "green", "darkgreen", "blue", "black", "red")
    d.finish = "tin" if tin else _pick(rng, "tin", "gold", "tin")
    count = int((length - 2 * side) // pitch) + 1
    x0 = (length - (count - 1) * pitch) / 2
    skip = {i for i in range(count) if abs(x0 + i * pitch - notch) < notch_w / 2 + width / 2 + 0.35}
    metal, gone = ("tin", set[int]()) if tin else metal_and_gone(d, count, hard)
    radius = float(rng.choice([0.05, 0.15, width * 0.45]))
    contact_row(d, x0, gap, count, pitch, width, finger, "bottom", radius, skip, metal, gone=gone)
    zone = finger + gap + float(rng.uniform(0.1, 0.4))
    _bare_zone(d, (0, 0, length, zone), 0.6, hard)
    if bevel:
        d.openings.append(box(0, 0, length, bevel))
    d.claim(0, 0, length, zone + 0.6)
    for i in range(count):
        if i not in skip and rng.random() < 0.8:
            x, up = x0 + i * pitch, float(rng.uniform(1, 5))
            d.traces.append((np.array([(x, gap + finger), (x, zone + up), (x + up * 0.5, zone + 2 * up)]), 0.2))
    _memory_chips(d, length, height, zone, side)
    d.label(parts.word(d), 1.2, 3, zone + 3.4)
    d.frames(14)
    d.routes(60, (0.12, 0.2))
    d.vias(90)
    return d


def _memory_chips(d: Design, length: float, height: float, zone: float, side: float) -> None:
    rng = d.rng
    rows = int(rng.choice([4, 5, 8, 9])) if length > 100 else int(rng.choice([2, 4]))
    thin = bool(rng.random() < 0.5)
    room = length / (rows + 0.3) - 3
    if thin:
        w, h, y = min(room, 10.2), min(height - zone - 8, 18.4), 3.2
    else:
        w, h = min(room, float(rng.uniform(8, 11.5))), min(height - zone - 7, float(rng.uniform(10.5, 14)))
        y = float(rng.uniform(1.5, 3))
    y = height - h - y
    for i in range(rows):
        x = (i + 0.5) * length / rows - w / 2
        if d.free(x - 0.5, y - 1.2, x + w + 0.5, y + h + 1.2, 0) and not (rows > 4 and rng.random() < 0.06):
            d.claim(x - 1, y - 1.6, x + w + 1, y + h + 1.6)
            parts.package(d, x, y, w, h, "y" if thin else "", 0.8, 1.1)
    for i in range(int(length // 7)):
        x = side + i * 7 + float(rng.uniform(0, 1.5))
        if d.free(x, zone + 0.9, x + 3.6, zone + 2.9, 0.2):
            d.claim(x, zone + 0.9, x + 3.6, zone + 2.9)
            for k in range(4):
                parts.chip(d, x + 0.1 + 0.9 * k, zone + 1.3, 1.0, 0.45, turned=True, body="resistor", z=0.35)
    parts.scatter_chips(d, int(length / 2.6), (2, zone + 1, length - 2, height - 0.6), ((1.0, 0.5), (1.6, 0.8)))
    if rng.random() < 0.6:
        w, high = float(rng.uniform(28, 45)), float(rng.uniform(8, 12))
        ground = _pick(rng, "paper", "paper", "paper", "yellowpaper", "goldfoil")
        parts.sticker(d, float(rng.uniform(4, length - w - 4)), y + (h - high) / 2, w, high, 1.16, ground)


def expansion(rng: np.random.Generator, hard: float = 0.0) -> Design:
    """An expansion card with a tab."""
    width_mm, height = float(rng.uniform(100, 168)), float(rng.uniform(58, 98))
    fine = bool(rng.random() < 0.5)
    pitch = 1.0 if fine else 1.27
    width, finger = (
        pitch * float(rng.uniform(0.66, 0.78)),
        float(rng.uniform(3.2, 4.4) if fine else rng.uniform(5, 7)),
    )
    bevel = float(rng.uniform(0.5, 1.8)) if rng.random() < 0.38 * hard else 0.0
    gap = float(rng.uniform(0.3, 0.6)) + bevel
    tab_h = finger + gap + float(rng.uniform(1.5, 3.2))
    count = int(rng.choice([18, 32, 49, 60] if fine else [49, 60, 62]))
    tab_w = count * pitch + 2 * float(rng.uniform(0.6, 1.2)) + 2 * pitch
    tab_x = float(rng.uniform(12, max(width_mm - tab_w - 6, 13)))
    width_mm = max(width_mm, tab_x + tab_w + 8)
    key = int(count * rng.uniform(0.12, 0.4))
    x0 = tab_x + (tab_w - (count - 1) * pitch) / 2
    cut, end = 1.2, tab_x + tab_w
    tab = Polygon([(tab_x, tab_h + 1), (tab_x, cut), (tab_x + cut, 0), (end - cut, 0), (end, cut), (end, tab_h + 1)])
    notch = rounded(x0 + key * pitch - 0.95, -2, x0 + key * pitch + 0.95, tab_h - 1, 0.9)
    d = Design("expansion", rng, box(0, tab_h, width_mm, tab_h + height).union(tab).difference(notch), 1.6)
    d.bevel_mm = bevel
    d.mask = _pick(rng, "green", "green", "blue", "red", "black", "darkgreen", "purple")
    d.finish = _pick(rng, "tin", "tin", "gold")
    skip = {i for i in range(count) if abs(i - key) * pitch < 0.95 + width / 2 + 0.3}
    metal, gone = metal_and_gone(d, count, hard)
    contact_row(
        d, x0, gap, count, pitch, width, finger, "bottom", 0.12, skip, metal, float(rng.choice([0, 0.8])), gone
    )
    _bare_zone(d, (tab_x - 1, 0, end + 1, finger + gap + 0.3), 0.65, hard)
    if bevel:
        d.openings.append(box(tab_x - 1, 0, end + 1, bevel))
    d.claim(tab_x - 1, 0, end + 1, tab_h + 0.8)
    for i in range(count):
        if i not in skip:
            x, up = x0 + i * pitch, float(rng.uniform(1, 14))
            aside = float(rng.choice([-1, 1])) * up * 0.7
            d.traces.append((np.array([(x, gap + finger), (x, tab_h + up), (x + aside, tab_h + 1.7 * up)]), 0.25))
    for x, y in ((4, tab_h + 5), (width_mm - 4, tab_h + height - 5), (4, tab_h + height - 5)):
        d.hole(x, y, 1.6, float(rng.uniform(0.8, 1.6)))
    _expansion_parts(d, width_mm, height, tab_h)
    d.planes.append((width_mm * 0.55, tab_h + height * 0.4, width_mm - 3, tab_h + height - 3))
    return d


def _expansion_parts(d: Design, width: float, height: float, base: float) -> None:
    rng, body = d.rng, (2.0, base + 1, width - 2, base + height - 2)
    s = d.spot(30, 30, (width * 0.25, base + 8, width * 0.8, base + height - 6))
    if s:
        q = float(rng.uniform(20, 28))
        parts.package(d, s[0] + 2, s[1] + 2, q, q, "", z=2.2)
    for _ in range(int(rng.integers(3, 8))):
        w, h = float(rng.uniform(7, 19)), float(rng.uniform(5, 12))
        s = d.spot(w + 3, h + 3, body)
        if s:
            lead = "goldlead" if rng.random() < 0.04 else "tinlead"
            pitch = float(rng.choice([0.8, 1.27]))
            parts.package(d, s[0] + 1.5, s[1] + 1.5, w, h, "y" if w > h else "x", pitch, 1.6, lead=lead)
    for _ in range(int(rng.integers(2, 8))):
        parts.can(d, body, (2.0, 4.0), (5, 9))
    for _ in range(int(rng.integers(2, 7))):
        parts.moulded(d, body)
    for _ in range(int(rng.integers(1, 3))):
        parts.crystal(d, body)
    _connectors(d, width, height, base)
    if rng.random() < 0.5 and d.free(width - 13, base + 6, width - 7, base + 12):
        parts.standoff(d, width - 10, base + 9)
        d.claim(width - 13, base + 6, width - 7, base + 12)
    for _ in range(int(rng.integers(0, 3))):
        k = int(rng.integers(4, 12))
        s = d.spot(2.54 * k, 2.6, body)
        if s:
            for i in range(k):
                d.through_pad(s[0] + 1.27 + 2.54 * i, s[1] + 1.3, 0.5, 0.9, i == 0)
    parts.scatter_chips(d, int(width * height / 90), body)
    d.label(parts.word(d), 2.2, 10, base + 2.2)
    d.label(parts.word(d), 1.6, width * 0.5, base + height - 3)
    d.frames(26)
    d.routes(80, (0.15, 0.3))
    d.vias(160)


def _connectors(d: Design, width: float, height: float, base: float) -> None:
    rng = d.rng
    for _ in range(int(rng.integers(1, 4))):
        w = 2.54 * int(rng.integers(3, 11)) + 1
        s = d.spot(w + 1, 7, (2, base + height * 0.5, width - 2, base + height - 0.5))
        if s:
            pins = _pick(rng, "dimple", "dimple", "tinlead", "goldlead")
            z = float(rng.uniform(5, 9)) if pins == "dimple" else 2.5
            parts.connector(d, s[0] + 0.5, s[1] + 0.5, w, 6, z, _pick(rng, "white", "beige", "black", "beige"), pins)


def widepitch(rng: np.random.Generator, hard: float = 0.0) -> Design:
    """A card of wide pitch with leaded parts, sometimes without solder mask."""
    width_mm, height = float(rng.uniform(95, 170)), float(rng.uniform(60, 110))
    pitch = float(rng.choice([2.54, 3.96, 2.54]))
    width, finger = pitch * float(rng.uniform(0.55, 0.72)), float(rng.uniform(6.5, 10))
    gap = float(rng.uniform(0.4, 1.0)) + (float(rng.uniform(0.5, 2)) if rng.random() < 0.3 * hard else 0)
    count = min(int((width_mm - 14) // pitch), int(rng.integers(18, 44)))
    x0 = (width_mm - (count - 1) * pitch) / 2
    key = int(rng.integers(3, count - 3))
    out = box(0, 0, width_mm, height)
    if rng.random() < 0.7:
        a, b, t = x0 - pitch * 0.8, x0 + (count - 0.2) * pitch, finger + 2
        out = out.difference(box(-1, -1, a, t)).difference(box(b, -1, width_mm + 1, t))
    out = out.difference(box(x0 + key * pitch - 0.7, -1, x0 + key * pitch + 0.7, finger + 0.6))
    d = Design("widepitch", rng, out, 1.6)
    d.mask = _pick(rng, "olive", "green", "none", "olive", "darkgreen")
    d.silk_colour = _pick(rng, "white", "yellow")
    metal, gone = metal_and_gone(d, count, hard)
    radius = float(rng.choice([0.1, width * 0.5]))
    contact_row(d, x0, gap, count, pitch, width, finger, "bottom", radius, {key}, metal, gone=gone)
    d.openings.append(box(0, 0, width_mm, finger + gap + 0.5))
    base = finger + 2.5
    d.claim(0, 0, width_mm, base)
    bare, track = d.mask == "none", _pick(rng, "tin", "tin", "copper")
    for i in range(count):
        if i == key:
            continue
        x, up = x0 + i * pitch, float(rng.uniform(2, 14))
        aside = float(rng.choice([-1, 1])) * up * 0.5
        points = np.array([(x, finger + gap - 0.3), (x, finger + up), (x + aside, finger + 1.5 * up)])
        d.traces.append((points, 0.8))
        if bare:
            d.pad(LineString(points).buffer(0.4, quad_segs=2), track)
    body = (3.0, base + 1, width_mm - 3, height - 3)
    for x in (4, width_mm - 4):
        d.hole(x, height - 4, 1.7, 0 if bare else 1.2)
    _leaded(d, body)
    d.label(parts.word(d), 2.6, 8, height - 7)
    d.frames(20)
    if bare:
        _open_tracks(d, base, track)
    d.routes(50, (0.5, 1.0), (3, base, width_mm - 3, height - 3))
    return d


def _leaded(d: Design, body: Rect) -> None:
    rng = d.rng
    for _ in range(int(rng.integers(6, 16))):
        parts.dual_in_line(d, body)
    for _ in range(int(rng.integers(8, 26))):
        parts.axial(d, body)
    for _ in range(int(rng.integers(3, 9))):
        s = d.spot(7, 4, body)
        if s:
            kind = _pick(rng, "ochre", "ceramic", "ochre")
            d.solid("round", kind, (s[0] + 0.5, s[1] + 0.5, s[0] + 6.5, s[1] + 3.5), 0.0, 6)
    for _ in range(int(rng.integers(0, 3))):
        parts.can(d, body, (3, 6), (10, 18))
    for _ in range(int(rng.integers(10, 30))):
        s = d.spot(2.4, 2.4, body, 10)
        if s:
            d.through_pad(s[0] + 1.2, s[1] + 1.2, 0.45, 1.0, finish="tin")


def _open_tracks(d: Design, base: float, metal: str) -> None:
    taken = shapely.union_all([box(*t) for t in d.taken])
    width, height = d.size
    for _ in range(40):
        x, y, dx = d.rng.uniform(5, width - 25), d.rng.uniform(base, height - 5), d.rng.uniform(8, 20)
        line = LineString([(x, y), (x + dx, y), (x + dx + 4, min(y + 4, height - 4))]).buffer(0.5, quad_segs=2)
        if not taken.intersects(line):
            d.pad(line, metal)


def strip(rng: np.random.Generator, hard: float = 0.0) -> Design:
    """A long strip with contacts at both ends."""
    length, height = float(rng.uniform(120, 215)), float(rng.uniform(11, 24))
    d = Design(
        "strip", rng, rounded(0, 0, length, height, float(rng.choice([0, 0.8]))), float(rng.choice([1.6, 1.0]))
    )
    d.mask = _pick(rng, "green", "blue", "red", "white", "black", "darkgreen")
    d.finish = _pick(rng, "tin", "gold", "tin")
    pitch = float(rng.choice([1.0, 1.27, 2.0, 2.54]))
    width, finger, gap = (
        pitch * float(rng.uniform(0.6, 0.78)),
        float(rng.uniform(3.5, 9)),
        float(rng.uniform(0.2, 0.6)),
    )
    count = int((height - 1.6) // pitch)
    y0 = (height - (count - 1) * pitch) / 2
    for edge, x in (("left", gap), ("right", length - gap)):
        metal, gone = metal_and_gone(d, count, hard)
        contact_row(d, x, y0, count, pitch, width, finger, edge, 0.15, (), metal, gone=gone)
        at = 0.0 if edge == "left" else length - finger - gap - 0.4
        d.openings.append(box(at, 0, at + finger + gap + 0.4, height))
        d.claim(at - 1.5, 0, at + finger + 2.5, height)
        for i in range(count):
            y, inner = y0 + i * pitch, finger if edge == "left" else length - finger
            d.traces.append((np.array([(inner, y), (length * 0.5, y + rng.uniform(-1, 1))]), 0.3))
    z = finger + 3
    for x in (z + 3, length - z - 3):
        d.hole(x, height / 2, min(1.6, height * 0.14), 0.7 if height > 14 else 0.3)
    body = (z, 0.8, length - z, height - 0.8)
    for _ in range(int(rng.integers(2, 6))):
        w, h = float(rng.uniform(6, 14)), float(min(rng.uniform(4, 8), height - 5))
        s = d.spot(w + 3, h + 3, body)
        if s:
            parts.package(d, s[0] + 1.5, s[1] + 1.5, w, h, "y", 1.27, 1.5)
    for _ in range(int(rng.integers(2, 10))):
        s = d.spot(5.4, 5.4, body)
        if s:
            d.solid("box", "white", (s[0] + 0.4, s[1] + 0.4, s[0] + 5, s[1] + 5), 0, 1.4)
            parts.flat_disc(d, "ochre", s[0] + 2.7, s[1] + 2.7, 1.7, 1.405)
            for q in (s[0], s[0] + 4.4):
                d.pad((q, s[1] + 0.6, q + 1, s[1] + 4.8))
    parts.scatter_chips(d, int(length / 4), body)
    d.label(parts.word(d), 1.5, z + 8, 1.0)
    d.frames(8)
    d.routes(25, (0.15, 0.4))
    d.vias(30)
    return d
