"""Shapes of small drawings, and what they look like as SVG; ``how_to_pdf`` draws the same shapes on paper."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

Role = Literal["ink", "faint", "table", "board", "gold", "white", "paper", "shade", "light", "bad", "good"]
Point = tuple[float, float]

# "bad" and "good" are from the Okabe–Ito set (2008, "Color Universal Design"); a cross and a tick say the same.
RGB: dict[Role, tuple[int, int, int]] = {
    "ink": (45, 45, 45),
    "faint": (140, 140, 140),
    "table": (214, 196, 170),
    "board": (38, 110, 76),
    "gold": (222, 178, 80),
    "white": (255, 255, 255),
    "paper": (246, 246, 243),
    "shade": (0, 0, 0),
    "light": (250, 214, 92),
    "bad": (213, 94, 0),
    "good": (0, 114, 178),
}


@dataclass(frozen=True)
class Shape:
    """A polygon or a line.

    Attributes:
        points: x to the right, y down; at least two.
        fill: inside, or None.
        line: along the points, or None.
        width: of the line.
        closed: whether the line goes back to the first point.
        opacity: of both.
    """

    points: tuple[Point, ...]
    fill: Role | None = None
    line: Role | None = None
    width: float = 1.0
    closed: bool = True
    opacity: float = 1.0

    def moved(self, dx: float, dy: float) -> Shape:
        """The same somewhere else."""
        return self._with(tuple((x + dx, y + dy) for x, y in self.points))

    def turned(self, degrees: float, about: Point) -> Shape:
        """The same, turned clockwise as seen."""
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        away = [(x - about[0], y - about[1]) for x, y in self.points]
        return self._with(tuple((about[0] + c * x - s * y, about[1] + s * x + c * y) for x, y in away))

    def _with(self, points: tuple[Point, ...]) -> Shape:
        return Shape(points, self.fill, self.line, self.width, self.closed, self.opacity)


def box(x: float, y: float, width: float, height: float, fill: Role, opacity: float = 1.0) -> Shape:
    """A filled rectangle by its top left corner."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Shape(corners, fill=fill, opacity=opacity)


def frame(x: float, y: float, width: float, height: float, line: Role, thick: float = 1.0) -> Shape:
    """An empty rectangle."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Shape(corners, line=line, width=thick)


def stroke(points: Sequence[Point], line: Role, width: float = 1.0, opacity: float = 1.0) -> Shape:
    """An open line."""
    return Shape(tuple(points), line=line, width=width, closed=False, opacity=opacity)


def disc(x: float, y: float, radius: float, fill: Role, opacity: float = 1.0) -> Shape:
    """A filled circle, as a polygon of many corners."""
    turn = [2 * math.pi * i / 32 for i in range(32)]
    points = tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turn)
    return Shape(points, fill=fill, opacity=opacity)


def svg(shapes: Iterable[Shape], width: float, height: float, title: str) -> str:
    """Shapes as a self-contained SVG image whose text alternative is ``title``."""
    label = html.escape(title)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="{label}"><title>{label}</title>{"".join(map(_element, shapes))}</svg>'
    )


def _element(shape: Shape) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in shape.points)
    fill = "none" if shape.fill is None else _colour(shape.fill)
    line = "" if shape.line is None else f' stroke="{_colour(shape.line)}" stroke-width="{shape.width:g}"'
    faint = "" if shape.opacity == 1 else f' opacity="{shape.opacity:g}"'
    kind = "polygon" if shape.closed else "polyline"
    return f'<{kind} points="{points}" fill="{fill}"{line}{faint} stroke-linejoin="round" stroke-linecap="round"/>'


def _colour(role: Role) -> str:
    return "#{:02x}{:02x}{:02x}".format(*RGB[role])
