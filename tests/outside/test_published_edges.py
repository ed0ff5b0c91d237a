"""Board edges drawn from published footprints, photographed by arithmetic, and measured from end to end.

Footprints (read): KiCad/kicad-footprints, Connector_PCBEdge.pretty, BUS_PCIexpress_x1, BUS_PCIexpress_x16 and
BUS_AT. The card that gives the scale is ID-1 of ISO/IEC 7810: 85.60 × 53.98 mm (read, a mirror of its figures).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import ByPitch, ByRectangle, ScaleChoice
from tests.drawn_boards import (
    KnownCoverage,
    box,
    contact_row,
    polygon_share,
    union_share,
)

# contacts end half a millimetre before the board does
OUTER_MM, BOARD = 79.0, box((78.0, 70.0), 148.0, 19.0)


@dataclass(frozen=True)
class Edge:
    """One face of a published edge: contacts in mm, their sum, and what the footprint says of the row."""

    contacts: list[np.ndarray]
    mm2: float
    pitch_mm: float
    span_mm: float


def express(count: int) -> Edge:
    """0.70 × 4.30 mm at 1.0 mm, one of them 3.20 mm long, and a step of 3.0 mm over the key after eleven."""
    row = contact_row((20.0, OUTER_MM - 4.3 / 2), count, 1.0, (0.7, 4.3), key_after=11, key_gap=2.0)
    x = float(row[count - 2][:, 0].mean())
    row[count - 2] = box((x, OUTER_MM - 4.3 + 3.2 / 2), 0.7, 3.2)
    return Edge(row, (count - 1) * 0.7 * 4.3 + 0.7 * 3.2, 1.0, count - 1 + 2.0)


def isa_16() -> Edge:
    """1.78 × 7.62 mm at 2.54 mm: 31 and 18 on each face, over a span of 129.54 mm."""
    row = contact_row((12.0, OUTER_MM - 7.62 / 2), 49, 2.54, (1.78, 7.62), key_after=31, key_gap=129.54 - 48 * 2.54)
    return Edge(row, 49 * 1.78 * 7.62, 2.54, 129.54)


# one face of what adds up to 106.8, 492.1 and 1329.2 mm² on both
EDGES = {"x1": (express(18), 18, 106.8 / 2), "x16": (express(82), 82, 492.1 / 2), "isa": (isa_16(), 49, 1329.2 / 2)}
WIDE_MM, HIGH_MM = 155.0, 85.0
ID_1 = box((50.0, 30.0), 85.60, 53.98)


def photograph(edge: Edge, px_per_mm: float, choice: ScaleChoice) -> Measurement:
    """A board with that edge beside an ID-1 card, every pixel's share of plating known."""
    shape = (round(HIGH_MM * px_per_mm), round(WIDE_MM * px_per_mm))
    share = union_share([c * px_per_mm - 0.5 for c in edge.contacts], shape)
    board = polygon_share(BOARD * px_per_mm - 0.5, shape) > 0.5
    photo = Photo("edge.png", "12" * 32, np.zeros((*shape, 3), np.uint8), "PNG", 2000.0)
    return measure(photo, Request(scale=choice, segmenter=KnownCoverage(share, board)))


def by_card(px_per_mm: float) -> ByRectangle:
    corners = tuple((float(x), float(y)) for x, y in ID_1 * px_per_mm - 0.5)
    return ByRectangle((85.60, 53.98), corners)  # type: ignore[arg-type]


def area_mm2(done: Measurement) -> float:
    assert done.area is not None
    return sum(t.coefficient for t in done.area.total.terms)


@pytest.mark.parametrize("name", EDGES)
def test_drawn_contacts_add_up_to_the_published_area(name: str) -> None:
    edge, count, mm2 = EDGES[name]
    assert len(edge.contacts) == count
    assert edge.mm2 == pytest.approx(mm2, abs=0.06)
    assert np.ptp([c[:, 0].mean() for c in edge.contacts]) == pytest.approx(edge.span_mm, abs=1e-9)


@pytest.mark.parametrize("px_per_mm", [8.0, 5.0])
@pytest.mark.parametrize("name", EDGES)
def test_measured_beside_a_card_of_known_size(name: str, px_per_mm: float) -> None:
    edge, count, _ = EDGES[name]
    done = photograph(edge, px_per_mm, by_card(px_per_mm))
    assert done.area is not None
    assert area_mm2(done) == pytest.approx(edge.mm2, rel=5e-3)
    # what doubt remains about the finish goes into the areas by finish, but every contact is taken for what it is
    assert {r.finish for r in done.regions.regions} == {"hard_gold"}
    assert float(np.mean(done.area.by_finish["hard_gold"].draws())) > 0.9 * edge.mm2
    [row] = done.regions.rows
    assert row.count == count
    assert row.pitch == pytest.approx(edge.pitch_mm, rel=3e-3)
    assert row.at_edge
    low, high = np.quantile(done.area.total.draws(), [0.05, 0.95])
    assert low < edge.mm2 < high


@pytest.mark.parametrize("name", EDGES)
def test_measured_by_its_own_pitch(name: str) -> None:
    edge, _, _ = EDGES[name]
    done = photograph(edge, 8.0, ByPitch(edge.pitch_mm))
    assert done.scale is not None
    assert done.scale.px_per_mm == pytest.approx(8.0, rel=2e-3)
    assert area_mm2(done) == pytest.approx(edge.mm2, rel=5e-3)
