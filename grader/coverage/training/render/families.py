"""Choice of the boards to draw: families, their frequency, and the looks that any of them may have."""

from __future__ import annotations

import numpy as np

from . import breakouts, cards, grids, parts, planes
from .colours import RARE_MASKS
from .design import Design

FAMILIES = ("memory", "expansion", "widepitch", "strip", "breakout", "negative")
PLAIN = ("plane", "rings", "land_grid", "module", "pads", "bare")
# scenes and their shares: of one family, a heap, several side by side
SHARES = {
    "memory": 0.13, "expansion": 0.11, "widepitch": 0.08, "strip": 0.06, "breakout": 0.1, "negative": 0.08,
    "pile": 0.09, "mixed": 0.08, "plane": 0.09, "rings": 0.04,
    "land_grid": 0.06, "module": 0.04, "pads": 0.03, "bare": 0.04,
}  # fmt: skip
GOLDLESS = 0.14  # share of scenes whose plating is taken off; other scenes have none from the start


def make_design(family: str, rng: np.random.Generator, hard: float) -> Design:
    """A board of a family."""
    u = rng.random()
    if family == "negative":
        if u < 0.35:
            return cards.memory(rng, hard, tin=True)
        return breakouts.breakout(rng, hard, "tin" if u < 0.8 else "copper")
    if family in ("plane", "rings", "land_grid", "module", "pads"):
        finish = "gold" if u < 0.76 else "tin" if u < 0.88 else "copper"
        makers = {"plane": planes.plane, "rings": planes.rings, "land_grid": grids.land_grid, "module": grids.module,
                  "pads": grids.pads}  # fmt: skip
        return makers[family](rng, hard, finish)
    others = {"memory": cards.memory, "expansion": cards.expansion, "widepitch": cards.widepitch,
              "strip": cards.strip, "breakout": breakouts.breakout, "bare": planes.bare}  # fmt: skip
    return others[family](rng, hard)


def _harder(d: Design, rng: np.random.Generator) -> None:
    """Give a board difficult looks that any board may have: rare mask colours, yellow print, stickers and tape."""
    if d.mask != "none" and rng.random() < 0.3:
        d.mask = str(rng.choice(RARE_MASKS))
        d.looks.append(f"mask {d.mask}")
    if rng.random() < 0.2:
        d.silk_colour = "yellow"
    width, height = d.size
    for _ in range(int(rng.choice([0, 0, 0, 1, 2]))):
        w, h = float(rng.uniform(6, 30)), float(rng.uniform(4, 14))
        x, y = float(rng.uniform(-0.3 * w, width - 0.5 * w)), float(rng.uniform(-0.2 * h, height - 0.5 * h))
        over = [
            s.z1 for s in d.solids if s.kind != "disc" and s.x0 < x + w and s.x1 > x and s.y0 < y + h and s.y1 > y
        ]
        ground = str(rng.choice(["amber", "kraft", "beige", "yellowpaper", "goldfoil", "paper", "goldpaint"]))
        z = max([0.05, *over]) + 0.05
        if rng.random() < 0.5 and min(x, y) > 0 and x + w < width and y + h < height:
            parts.sticker(d, x, y, w, h, z, ground)
        else:
            d.solid("box", ground, (x, y, x + w, y + h), z - 0.05, z)
        d.looks.append(f"{ground} over it")


def families_of(rng: np.random.Generator, scene: str) -> list[str]:
    """Families of the boards in a scene."""
    if scene == "pile":
        pool = ["memory", "memory", "strip", "breakout", "widepitch", "negative", "expansion", "plane", "land_grid"]
        return [str(f) for f in rng.choice(pool, int(rng.integers(3, 7)))]
    if scene == "mixed":
        pool = ["memory", "strip", "breakout", "negative", "breakout", "memory", *PLAIN]
        return [str(f) for f in rng.choice(pool, int(rng.integers(2, 5)))]
    many = {"memory": (1, 1, 2, 3, 4), "strip": (1, 2), "breakout": (1, 1, 2, 3), "negative": (1, 2), "plane": (1, 2),
            "rings": (1, 2), "land_grid": (1, 2, 4), "module": (1, 2, 4), "bare": (1, 2)}  # fmt: skip
    return [scene] * int(rng.choice(many.get(scene, (1,))))


def draw_boards(rng: np.random.Generator, scene: str, *, scan: bool, hard: float) -> list[Design]:
    """The boards of a scene; a scan shows one."""
    names = (
        [scene if scene not in ("pile", "mixed") else str(rng.choice(FAMILIES))] if scan else families_of(rng, scene)
    )
    designs = [make_design(f, rng, hard) for f in names]
    if rng.random() < GOLDLESS:
        designs = [planes.strip_of_gold(d) for d in designs]
    if hard:
        for d in designs:
            _harder(d, rng)
    return designs
