"""Parts on boards: packages with leads, chips, capacitors, crystals, connectors, stickers."""

from __future__ import annotations

from .design import WORDS, Design
from .shapes import Rect, circle


def word(d: Design) -> str:
    """An invented marking."""
    return str(d.rng.choice(WORDS))


def package(
    d: Design, x: float, y: float, w: float, h: float, leads: str = "y", pitch: float = 1.27, z: float = 1.2,
    body: str = "black", lead: str = "tinlead",
) -> None:  # fmt: skip
    """A body with gull-wing leads on the sides normal to an axis, or without leads."""
    if leads:
        along, width = (w if leads == "y" else h), pitch * 0.34
        count = int((along - 0.6) // pitch)
        for i in range(count):
            c = (along - (count - 1) * pitch) / 2 + i * pitch
            a0, a1 = c - width / 2, c + width / 2
            depth = h if leads == "y" else w
            for b0, b1 in ((-1.1, 0.1), (depth - 0.1, depth + 1.1)):
                foot = (x + a0, y + b0, x + a1, y + b1) if leads == "y" else (x + b0, y + a0, x + b1, y + a1)
                d.solid("box", lead, foot, 0, 0.28)
                more = (0.06, 0.35) if leads == "y" else (0.35, 0.06)
                d.pad((foot[0] - more[0], foot[1] - more[1], foot[2] + more[0], foot[3] + more[1]))
    d.solid("box", body, (x, y, x + w, y + h), 0.1 if leads else 0.0, z)
    size = min(h * 0.16, w * 0.07, 1.6)
    if size > 0.35:
        d.mark(f"{word(d)}  {d.rng.integers(1000, 9999)}", size, x + w * 0.1, y + h * 0.55, z + 0.004)
        d.mark(word(d), size, x + w * 0.1, y + h * 0.55 - 2 * size, z + 0.004)
    r = min(w, h) * 0.035 + 0.12
    flat_disc(d, "dimple", x + w * 0.08 + 0.2, y + h * 0.12 + 0.2, r, z + 0.003)


def flat_disc(d: Design, material: str, x: float, y: float, r: float, z: float) -> None:
    """A flat disc at a height."""
    d.solid("disc", material, (x - r, y - r, x + r, y + r), 0, z, 16)


def _turned(x: float, y: float, turned: bool, a: float, b: float, c: float, e: float) -> Rect:
    return (x + b, y + a, x + e, y + c) if turned else (x + a, y + b, x + c, y + e)


def chip(d: Design, x: float, y: float, length: float = 1.6, width: float = 0.8, turned: bool = False,
         body: str | None = None, z: float | None = None) -> None:  # fmt: skip
    """A chip with two ends."""
    body = body or str(d.rng.choice(["tan", "brown", "tan", "resistor"]))
    z = z or (0.45 if body == "resistor" else 0.8 * width + 0.2)
    e = length * 0.2
    d.solid("box", body, _turned(x, y, turned, e, 0, length - e, width), 0, z)
    for a, b in ((0.0, e), (length - e, length)):
        d.solid("box", "tinlead", _turned(x, y, turned, a, 0.02, b, width - 0.02), 0, z - 0.01)
    for a, b in ((-0.35, e + 0.1), (length - e - 0.1, length + 0.35)):
        d.pad(_turned(x, y, turned, a, -0.08, b, width + 0.08))


def scatter_chips(
    d: Design,
    count: int,
    region: Rect,
    sizes: tuple[tuple[float, float], ...] = ((1.0, 0.5), (1.6, 0.8), (2.0, 1.25)),
) -> None:
    """Scatter chips wherever there is room."""
    for _ in range(count):
        length, width = sizes[int(d.rng.integers(len(sizes)))]
        turned = bool(d.rng.random() < 0.5)
        s = d.spot((width if turned else length) + 0.8, (length if turned else width) + 0.8, region, 8, 0.5)
        if s:
            chip(d, s[0] + 0.4, s[1] + 0.4, length, width, turned)


def bare_chips(d: Design, count: int, region: Rect) -> None:
    """Pairs of pads whose part is missing."""
    for _ in range(count):
        w, g = float(d.rng.uniform(0.5, 1.6)), float(d.rng.uniform(0.4, 1.2))
        s = d.spot(2 * w + g, w + 0.2, region, 8, 0.4)
        if s:
            for x in (s[0], s[0] + w + g):
                d.pad((x, s[1], x + w, s[1] + w))


def moulded(d: Design, region: Rect) -> None:
    """A moulded capacitor with a stripe."""
    turned = bool(d.rng.random() < 0.5)
    s = d.spot(4.2 if turned else 7.4, 7.4 if turned else 4.2, region)
    if not s:
        return
    x, y, length, w = s[0] + (0.5 if turned else 0.7), s[1] + (0.7 if turned else 0.5), 6.0, 3.2
    d.solid("box", "ochre", _turned(x, y, turned, 0.3, 0, length - 0.3, w), 0.1, 2.5)
    d.solid("box", "brown", _turned(x, y, turned, length * 0.12, 0.02, length * 0.26, w - 0.02), 2.5, 2.51)
    for a, b in ((0.0, 0.5), (length - 0.5, length)):
        d.solid("box", "tinlead", _turned(x, y, turned, a, 0.5, b, w - 0.5), 0, 1.3)
    for a, b in ((-0.6, 0.5), (length - 0.5, length + 0.6)):
        d.pad(_turned(x, y, turned, a, 0.3, b, w - 0.3))


def can(d: Design, region: Rect, radius: tuple[float, float], height: tuple[float, float]) -> None:
    """An electrolytic capacitor."""
    r = float(d.rng.uniform(*radius))
    s = d.spot(2 * r + 0.6, 2 * r + 0.6, region)
    if not s:
        return
    x, y, h = s[0] + r + 0.3, s[1] + r + 0.3, float(d.rng.uniform(*height))
    d.solid("box", "black", (x - r - 0.15, y - r - 0.15, x + r + 0.15, y + r + 0.15), 0, 0.9)
    d.solid("cylinder", "alu", (x - r, y - r, x + r, y + r), 0.5, h)
    d.solid("half", "black", (x - 0.96 * r, y - 0.96 * r, x + 0.96 * r, y + 0.96 * r), 0, h + 0.01)


def crystal(d: Design, region: Rect) -> None:
    """A crystal's can."""
    s = d.spot(11.6, 5.2, region)
    if s:
        x, y = s[0] + 0.3, s[1] + 0.3
        d.solid("round", "steel", (x, y, x + 11, y + 4.6), 0.0, 3.5)
        d.mark(f"{d.rng.integers(4, 50)}.000", 1.4, x + 2.2, y + 1.6, 3.505)


def connector(d: Design, x: float, y: float, w: float, h: float, z: float, body: str, pins: str = "dimple") -> None:
    """A connector's housing with cavities or pins seen from above."""
    d.solid("box", body, (x, y, x + w, y + h), 0, z)
    count = max(int(w // 2.54), 1)
    for i in range(count):
        cx = x + (w - (count - 1) * 2.54) / 2 + i * 2.54
        if pins == "dimple":
            d.solid("box", "dimple", (cx - 0.5, y + h * 0.3, cx + 0.5, y + h * 0.7), z, z + 0.01)
        else:
            for cy in (y + h * 0.28, y + h * 0.72):
                d.solid("box", pins, (cx - 0.32, cy - 0.32, cx + 0.32, cy + 0.32), z, z + 5.8)


def standoff(d: Design, x: float, y: float, r: float = 2.6, h: float = 5.0) -> None:
    """A brass post."""
    d.solid("cylinder", "brass", (x - r, y - r, x + r, y + r), 0, h, 6)
    flat_disc(d, "dimple", x, y, r * 0.5, h + 0.01)


def shield(d: Design, region: Rect) -> None:
    """A metal shell."""
    s = d.spot(9.4, 7.6, region)
    if s:
        d.solid("round", "steel", (s[0] + 0.3, s[1] + 0.3, s[0] + 9, s[1] + 7.3), 0, 3.1)


def sticker(d: Design, x: float, y: float, w: float, h: float, z: float, ground: str = "paper") -> None:
    """A sticker with letters and bars, on the board or over parts."""
    d.solid("box", ground, (x, y, x + w, y + h), z - 0.06 if z > 0.1 else 0.0, z)
    size = min(1.5, h * 0.22)
    for k, text in enumerate([word(d), f"{d.rng.integers(10**6, 10**7)}"]):
        d.mark(text, size, x + 0.06 * w, y + h * 0.72 - 2.1 * size * k, z + 0.004, "ink")
    at = x + w * 0.55
    while at < x + w - 1.2:
        q = float(d.rng.choice([0.25, 0.5, 0.75]))
        d.solid("box", "ink", (at, y + h * 0.15, at + q, y + h * 0.85), z, z + 0.004)
        at += q + float(d.rng.choice([0.25, 0.5]))


def lead_pad(d: Design, x: float, y: float, r: float, finish: str = "tin") -> None:
    """A round pad that a lead is soldered to."""
    d.pad(circle(x, y, r, 4), finish)


def axial(d: Design, region: Rect) -> None:
    """A resistor with coloured rings."""
    s = d.spot(13.5, 3.2, region)
    if not s:
        return
    x, y = s[0] + 0.6, s[1] + 1.6
    body = str(d.rng.choice(["beige", "tan", "bluepart"]))
    d.solid("rod", body, (x + 3, y - 1.2, x + 9.4, y + 1.2), 0.3, 2.7)
    for k in range(4):
        ring = str(d.rng.choice(["brown", "red", "ochre", "black", "goldpaint"]))
        d.solid("rod", ring, (x + 3.8 + 1.2 * k, y - 1.215, x + 4.3 + 1.2 * k, y + 1.215), 0.285, 2.715)
    d.solid("rod", "tinlead", (x + 0.8, y - 0.3, x + 11.5, y + 0.3), 1.2, 1.8)
    for px in (x + 0.8, x + 11.5):
        lead_pad(d, px, y, 1.05)


def dual_in_line(d: Design, region: Rect, finish: str = "tin") -> None:
    """A package with two rows of leads through the board."""
    count = int(d.rng.choice([7, 8, 8, 10, 14]))
    w, h = count * 2.54 + 0.6, 6.4 if count < 12 else 13.5
    s = d.spot(w + 1.5, h + 5, region)
    if not s:
        return
    x, y = s[0] + 0.7, s[1] + 2.5
    d.solid("box", str(d.rng.choice(["black", "black", "black", "ceramic"])), (x, y, x + w, y + h), 0.6, 4.2)
    d.mark(f"{word(d)} {d.rng.integers(100, 999)}", min(1.5, h * 0.2), x + 1.5, y + h * 0.4, 4.205)
    for i in range(count):
        px = x + 1.57 + 2.54 * i
        for py, q in ((y - 0.9, (y - 1.0, y + 0.1)), (y + h + 0.9, (y + h - 0.1, y + h + 1.0))):
            d.solid("box", "tinlead", (px - 0.4, q[0], px + 0.4, q[1]), 0.05, 1.9)
            lead_pad(d, px, py, 1.0, finish)
