"""Rows of edge contacts: of gold, tin or copper, worn, partly gone, with a bevel below."""

from __future__ import annotations

from collections.abc import Collection

from shapely.geometry import box

from .design import Design
from .shapes import rounded

STANDS_FOR = {"gold": "gold_finger", "tin": "tin", "copper": "copper"}


def contact_row(
    d: Design, x0: float, y0: float, count: int, pitch: float, width: float, length: float, edge: str,
    radius: float = 0.12, skip: Collection[int] = (), metal: str = "gold", stagger: float = 0.0,
    gone: Collection[int] = (),
) -> None:  # fmt: skip
    """Add contacts from an edge inwards.

    Args:
        d: the board.
        x0: first contact's centre (rows along x) or outer end.
        y0: first contact's outer end (rows along x) or centre.
        count: number of contacts, including those left out or gone.
        pitch: from middle to middle.
        width: of a contact, across its length.
        length: of a contact.
        edge: the board's edge: bottom, top, left or right.
        radius: of the contacts' corners.
        skip: numbers of contacts that the design leaves out.
        metal: gold, tin or copper.
        stagger: amount by which each fifth contact is shorter.
        gone: numbers of contacts of which only laminate is left.
    """
    layer = d.metals[STANDS_FOR[metal]]
    inwards = 1 if edge in ("bottom", "left") else -1
    for i in range(count):
        if i in skip:
            continue
        end = length - (stagger if i % 5 == 2 else 0)
        if edge in ("bottom", "top"):
            low, high = sorted((y0, y0 + inwards * end))
            rect = (x0 + i * pitch - width / 2, low, x0 + i * pitch + width / 2, high)
        else:
            low, high = sorted((x0, x0 + inwards * end))
            rect = (low, y0 + i * pitch - width / 2, high, y0 + i * pitch + width / 2)
        if i in gone:
            d.openings.append(box(*rect))
        elif radius > 0.02:
            layer.shapes.append(rounded(*rect, radius))
        else:
            layer.rects.append(rect)
    span = (count - 1) * pitch
    if edge in ("bottom", "top"):
        low, high = sorted((y0, y0 + inwards * length))
        d.contacts.append((x0 - width, low, x0 + span + width, high))
    else:
        low, high = sorted((x0, x0 + inwards * length))
        d.contacts.append((low, y0 - width, high, y0 + span + width))


def metal_and_gone(d: Design, count: int, hard: float) -> tuple[str, set[int]]:
    """Draw the metal of a row and the contacts of it that are gone.

    ``hard`` is the share of rows that are drawn from the difficult looks.
    """
    metal, gone = "gold", set[int]()
    if d.rng.random() >= hard:
        return metal, gone
    u = d.rng.random()
    if u < 0.26:
        metal = "tin" if d.rng.random() < 0.62 else "copper"
        d.looks.append(f"contacts of {metal}")
    if 0.2 < u < 0.4:
        if d.rng.random() < 0.5:
            gone = set(range(count))
        else:
            share = float(d.rng.uniform(0.1, 0.7))
            gone = {i for i in range(count) if d.rng.random() < share}
        d.looks.append("contacts gone")
    return metal, gone
