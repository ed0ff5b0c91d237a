"""An invented board: flat layers of metal, mask and print, holes, and the solids that stand on it.

Millimetres; x to the right, y up, z = 0 the underside; the bounding box starts at (0, 0). Layers lie one above the
other (laminate, solder mask, print, metal), so no layer needs to be cut out of the one below: the renderer's rays see
the top layer. Classes are those of the folder of training pictures.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from .shapes import Flat, Rect, circle, text_triangles

CLASSES = {
    "background": 0, "target": 1, "mask": 2, "laminate": 3, "gold_finger": 4, "gold_pad": 5, "tin": 6, "copper": 7,
    "print": 8, "part": 9, "brass": 10, "unknown": 11,
}  # fmt: skip
WORDS = (
    "LOT A12", "LOT B07", "REV 3", "TX-041", "K19-2", "PN 55821", "J4", "U7", "SN 004417", "TEST 88", "MOD-6C",
    "BD 2231", "QX 17", "VER 1.4", "C-SIDE", "EV-09", "LAYER 1", "MK2", "P3", "A0", "X9 RF", "GND", "ANT 2",
)  # fmt: skip
METAL_OF = {"gold": "gold_pad", "tin": "tin", "copper": "copper"}


class Solid(NamedTuple):
    """A part or a piece of a part: box, round (box with round ends), cylinder, disc, half (disc), rod (along x)."""

    kind: str
    material: str
    x0: float
    y0: float
    x1: float
    y1: float
    z0: float
    z1: float
    sides: int = 32


class PrintedMark(NamedTuple):
    """Letters printed on a part."""

    material: str
    triangles: Any
    z: float


@dataclass
class Design:
    """One board.

    Attributes:
        outline: shape without holes.
        metals: flat layers by class: gold_finger, gold_pad, tin, copper.
        openings: shapes where the mask is left off and laminate shows.
        traces: polylines under the mask: points, width.
        contacts: rectangles of the rows of contacts, for close views.
        carrier: material of the board: "laminate", or the name of a solder mask colour for packages.
        looks: names of the looks drawn for this board, for people who judge a picture.
    """

    family: str
    rng: np.random.Generator
    outline: Any
    thickness: float = 1.6
    mask: str = "green"
    finish: str = "tin"
    silk_colour: str = "white"
    metals: dict[str, Flat] = field(
        default_factory=lambda: {k: Flat() for k in ("gold_finger", "gold_pad", "tin", "copper")}
    )
    silk: Flat = field(default_factory=Flat)
    openings: list[Any] = field(default_factory=list)
    holes: list[tuple[Any, str | None]] = field(default_factory=list)
    traces: list[tuple[Any, float]] = field(default_factory=list)
    planes: list[Rect] = field(default_factory=list)
    solids: list[Solid] = field(default_factory=list)
    marks: list[PrintedMark] = field(default_factory=list)
    taken: list[Rect] = field(default_factory=list)
    contacts: list[Rect] = field(default_factory=list)
    bevel_mm: float = 0.0
    pullback: float = 0.3
    looks: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.pullback = float(self.rng.uniform(0.15, 0.45))
        self._room = self.outline.buffer(-0.3)
        shapely.prepare(self._room)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        _, _, width, height = self.outline.bounds
        return float(width), float(height)

    def free(self, x0: float, y0: float, x1: float, y1: float, gap: float = 0.4) -> bool:
        """Whether a rectangle lies on the board and clear of everything placed."""
        clear = all(x1 + gap <= a or c + gap <= x0 or y1 + gap <= b or d + gap <= y0 for a, b, c, d in self.taken)
        return clear and bool(self._room.contains(box(x0, y0, x1, y1)))

    def claim(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """Reserve a rectangle for something placed there."""
        self.taken.append((x0, y0, x1, y1))

    def spot(
        self, width: float, height: float, region: Rect | None = None, tries: int = 30, gap: float = 0.4
    ) -> tuple[float, float] | None:
        """Lower left corner of a free rectangle, claimed; ``None`` if none was found."""
        a, b, c, d = region or self.outline.bounds
        if c - a < width or d - b < height:
            return None
        for _ in range(tries):
            x, y = float(self.rng.uniform(a, c - width)), float(self.rng.uniform(b, d - height))
            if self.free(x, y, x + width, y + height, gap):
                self.claim(x, y, x + width, y + height)
                return x, y
        return None

    def solid(self, kind: str, material: str, rect: Rect, z0: float, z1: float, sides: int = 32) -> None:
        """Add a solid over a rectangle, heights above the board's face."""
        self.solids.append(Solid(kind, material, *rect, z0, z1, sides))

    def mark(self, text: str, height: float, x: float, y: float, z: float, material: str = "mark") -> None:
        """Print letters on a part."""
        self.marks.append(PrintedMark(material, text_triangles(text, height, x, y), z))

    def pad(self, shape: Any, finish: str | None = None) -> None:
        """Add a pad: a shape, or a rectangle as four numbers."""
        layer = self.metals[METAL_OF[finish or self.finish]]
        if isinstance(shape, tuple):
            layer.rects.append(shape)
        else:
            layer.shapes.append(shape)

    def hole(self, x: float, y: float, radius: float, ring: float = 0.0, wall: str | None = None) -> None:
        """Drill a hole with a ring of metal round it and, if named, a metal wall."""
        gap = circle(x, y, radius, 4)
        self.holes.append((gap, wall))
        if ring > 0:
            self.pad(circle(x, y, radius + ring).difference(gap), wall)
        reach = radius + ring + 0.3
        self.claim(x - reach, y - reach, x + reach, y + reach)

    def through_pad(
        self,
        x: float,
        y: float,
        hole: float = 0.5,
        radius: float = 0.95,
        square: bool = False,
        finish: str | None = None,
    ) -> None:
        """A pad with a plated hole in it."""
        gap = circle(x, y, hole, 3)
        around = box(x - radius, y - radius, x + radius, y + radius) if square else circle(x, y, radius, 5)
        self.pad(around.difference(gap), finish)
        self.holes.append((gap, finish or self.finish))

    def label(self, text: str, height: float, x: float, y: float, turn_deg: float = 0.0) -> None:
        """Print letters on the board where they fit on it."""
        made = text_triangles(text, height, x, y, turn_deg)
        low, high = made.reshape(-1, 2).min(0), made.reshape(-1, 2).max(0)
        if self._room.contains(box(*low, *high)):
            self.silk.loose.append(made)

    def frames(self, count: int) -> None:
        """Print outlines and numbers round some of the things placed."""
        if not self.taken:
            return
        for i in self.rng.permutation(len(self.taken))[:count]:
            a, b, c, d = self.taken[i]
            if c - a > 40 or d - b > 40 or not self._room.contains(box(a, b, c, d)):
                continue
            w = 0.09
            self.silk.rects += [(a - w, b - w, c + w, b + w), (a - w, d - w, c + w, d + w)]
            self.silk.rects += [(a - w, b + w, a + w, d - w), (c - w, b + w, c + w, d - w)]
            text = f"{self.rng.choice(list('RCULJQ'))}{self.rng.integers(1, 99)}"
            self.label(text, float(self.rng.uniform(0.8, 1.3)), a, d + 0.3)

    def routes(self, count: int, width: tuple[float, float] = (0.15, 0.4), region: Rect | None = None) -> None:
        """Bundles of random tracks under the mask."""
        a, b, c, d = region or self.outline.bounds
        rng = self.rng
        for _ in range(count):
            w, heading = float(rng.uniform(*width)), int(rng.integers(0, 8))
            points = [rng.uniform((a, b), (c, d))]
            for _ in range(int(rng.integers(1, 5))):
                step = rng.uniform(3, 0.35 * max(c - a, d - b) + 3)
                points.append(
                    points[-1] + step * np.array([np.cos(heading * np.pi / 4), np.sin(heading * np.pi / 4)])
                )
                heading += int(rng.choice([-1, 1]))
            line = np.array(points)
            side = 2.1 * w * np.array([1, 1 if heading % 2 else -1])
            self.traces += [(line + j * side, w) for j in range(int(rng.integers(1, 9)))]

    def vias(self, count: int) -> None:
        """Tented vias: dots under the mask."""
        a, b, c, d = self.outline.bounds
        self.traces += [(np.array([p, p + (0.01, 0)]), 0.7) for p in self.rng.uniform((a, b), (c, d), (count, 2))]

    def body(self) -> Any:
        """Outline without the holes."""
        return self.outline.difference(shapely.union_all([h for h, _ in self.holes])) if self.holes else self.outline

    def covered(self) -> Any:
        """Area covered by solder mask."""
        if self.mask == "none":
            return Polygon()
        bare = [h.buffer(0.12, quad_segs=2) for h, _ in self.holes] + self.openings
        inner = self.outline.buffer(-self.pullback, join_style="mitre")
        return inner.difference(shapely.union_all(bare)) if bare else inner
