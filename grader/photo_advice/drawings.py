"""One small drawing a check: on the left how not to do it, on the right how to."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from grader.photo_advice.how import HOW
from grader.photo_advice.model import CheckName
from grader.photo_advice.shapes import Shape, box, disc, frame, stroke, svg

# one half; both stand side by side with a gap
HALF_WIDTH, HEIGHT, GAP = 100.0, 80.0, 8.0
WIDTH = 2 * HALF_WIDTH + GAP

Shapes = list[Shape]


def drawing(name: CheckName) -> Shapes:
    """The shapes of a check's drawing, within ``WIDTH`` × ``HEIGHT``."""
    wrong, right = _PAIRS[name]
    moved = [s.moved(HALF_WIDTH + GAP, 0) for s in (*right(), *_tick())]
    return [*wrong(), *_cross(), *moved]


def drawing_svg(name: CheckName) -> str:
    """The drawing as SVG, with a text alternative."""
    how = HOW[name]
    return svg(drawing(name), WIDTH, HEIGHT, f"Wrong: {how.wrong}. Right: {how.right}.")


def _cross() -> Shapes:
    return [
        disc(90, 10, 8, "white"),
        stroke([(85.5, 5.5), (94.5, 14.5)], "bad", 3.4),
        stroke([(94.5, 5.5), (85.5, 14.5)], "bad", 3.4),
    ]


def _tick() -> Shapes:
    return [disc(90, 10, 8, "white"), stroke([(85, 10.5), (88.8, 14.5), (95, 5.5)], "good", 3.4)]


def _from_above() -> Shapes:
    return [box(0, 0, HALF_WIDTH, HEIGHT, "table")]


def _from_the_side() -> Shapes:
    return [
        box(0, 0, HALF_WIDTH, HEIGHT, "paper"),
        box(0, 68, HALF_WIDTH, 12, "table"),
        box(22, 64.5, 34, 3.5, "board"),
        box(22, 63.5, 12, 1.4, "gold"),
        box(60, 67, 22, 1.2, "ink"),
    ]


def _phone(degrees: float = 0.0) -> Shapes:
    """A phone seen from the side, its lens down, turned about its middle."""
    middle = (50.0, 14.0)
    shapes = [box(28, 11.5, 44, 5, "ink"), box(46, 16.5, 8, 2, "ink")]
    return [s.turned(degrees, middle) for s in shapes]


def _board(x: float, y: float, k: float) -> Shapes:
    """A board with a row of contacts at its lower edge, seen from above; 46 × 30 at ``k`` 1."""
    contacts = [box(x + k * (4 + 4 * i), y + k * 22, k * 2.4, k * 8, "gold") for i in range(10)]
    parts = [box(x + k * (7 + 18 * i), y + k * 6, k * 13, k * 9, "ink", 0.75) for i in range(2)]
    return [box(x, y, k * 46, k * 30, "board"), *parts, *contacts]


def _target(x: float, y: float, k: float) -> Shapes:
    """A sheet with a chequered pattern, seen from above; 32 × 26 at ``k`` 1."""
    squares = [
        box(x + k * (3 + 5.2 * i), y + k * (3 + 5 * j), k * 5.2, k * 5, "ink")
        for i in range(5)
        for j in range(4)
        if (i + j) % 2 == 0
    ]
    return [box(x, y, k * 32, k * 26, "white"), *squares]


def _contacts(offset: float, opacity: float) -> Shapes:
    return [box(13 + 16 * i + offset, 30, 10, 50, "gold", opacity) for i in range(5)]


def _blurred() -> Shapes:
    smears = [s for i in range(-4, 5) for s in _contacts(1.1 * i, 0.2)]
    return [box(0, 0, HALF_WIDTH, HEIGHT, "board"), *smears]


def _sharp() -> Shapes:
    return [box(0, 0, HALF_WIDTH, HEIGHT, "board"), *_contacts(0, 1), frame(38, 38, 24, 24, "white", 1.6)]


def _far() -> Shapes:
    return [*_from_above(), *_board(36, 34, 0.36), *_target(54, 34, 0.36), frame(6, 6, 88, 68, "ink", 2)]


def _near() -> Shapes:
    return [*_from_above(), *_board(11, 25, 0.96), *_target(59, 28, 0.96), frame(6, 6, 88, 68, "ink", 2)]


def _flash() -> Shapes:
    rays = [stroke([(50 + 3 * i, 19.5), (28 + 8.5 * (i + 2.6), 62)], "light", 2) for i in range(-2, 3)]
    glare = [
        stroke([(28 - dx, 63 - dy), (28 + dx, 63 + dy)], "white", 2.2) for dx, dy in ((9, 0), (0, 9), (6, 6), (6, -6))
    ]
    return [*_from_the_side(), *rays, *_phone(), *glare, disc(28, 63, 3.6, "white")]


def _side_light() -> Shapes:
    window = [box(0, 22, 9, 30, "light"), frame(0, 22, 9, 30, "ink", 1.4), stroke([(0, 37), (9, 37)], "ink", 1.4)]
    rays = [stroke([(11, 28 + 8 * i), (24 + 9 * i, 46 + 7 * i)], "light", 2) for i in range(3)]
    return [*_from_the_side(), *window, *rays, *_phone()]


def _view(left: float, right: float, at: tuple[float, float]) -> Shapes:
    edges = [stroke([at, (x, 67)], "faint", 1.2) for x in (left, right)]
    return [Shape((at, (left, 67), (right, 67)), fill="light", opacity=0.3), *edges]


def _aslant() -> Shapes:
    return [*_from_the_side(), *_view(36, 99, (46, 19)), *_phone(-26)]


def _level() -> Shapes:
    return [*_from_the_side(), *_view(14, 86, (50, 18.5)), *_phone()]


def _covered() -> Shapes:
    curl = Shape(((92, 62), (92, 50), (80, 62)), fill="paper", line="faint")
    return [*_from_above(), *_target(56, 30, 1.12), box(80, 50, 12.2, 12.2, "table"), curl, *_board(14, 26, 1.15)]


def _whole() -> Shapes:
    return [*_from_above(), *_board(6, 26, 1.0), *_target(58, 28, 1.12)]


def _shadow() -> Shapes:
    dark = Shape(((0, 80), (0, 30), (34, 14), (62, 30), (74, 80)), fill="shade", opacity=0.55)
    return [*_whole(), dark]


_PAIRS: Mapping[CheckName, tuple[Callable[[], Shapes], Callable[[], Shapes]]] = {
    "sharpness": (_blurred, _sharp),
    "resolution": (_far, _near),
    "highlights": (_flash, _side_light),
    "tilt": (_aslant, _level),
    "target": (_covered, _whole),
    "light": (_shadow, _whole),
}
