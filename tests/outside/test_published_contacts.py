"""Pictures of boards drawn from published outlines give their dimensions back, with nothing else to give a scale.

Outlines and how each is known: ``calibration/data/contact_families.toml``. The default segmenter looks at the
pictures; no scale is given, so that the row must be recognised by its count and key before its pitch can serve.
"""

from __future__ import annotations

import numpy as np
import pytest

from calibration.families import family_named
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from tests.drawn_boards import GOLD, GREEN_MASK, LAMINATE, TABLE, box, paint, polygon_share, union_share

PX_PER_MM = 8.0
EDGES = {
    "PCI Express": (11, 38),
    "PCI, 32 bit": (49, 11),
    "ISA, 16 bit": (31, 18),
    "DIMM, 240 contacts (DDR3)": (48, 72),
    "SIMM, 72 contacts": (36, 36),
    "DIMM, 288 contacts (DDR4)": (77, 67),
}

# first contact to last, mm, and contacts on a face
SPANS = [
    # KiCad/kicad-footprints, Connector_PCBEdge.pretty, BUS_PCIexpress_x1, _x4, _x8 and _x16
    ("pci_express", (11, 7), 19.0, 18),
    ("pci_express", (11, 21), 33.0, 32),
    ("pci_express", (11, 38), 50.0, 49),
    ("pci_express", (11, 71), 83.0, 82),
    # the same library, BUS_PCI: outermost contacts at ±38.735 mm
    ("pci_32", (49, 11), 77.47, 60),
    # the same library, BUS_AT
    ("isa_16", (31, 18), 129.54, 49),
    # the same library, BUS_S100_M: contacts 2 and 49, the outermost ones of one width
    ("s_100", (50,), 149.225 + 2 * 3.175, 50),
    # agranlund/raven, SIMM72_edge and SIMM64-Card-LPol
    ("simm_72", (36, 36), 95.25, 72),
    ("simm_64", (32, 32), 85.09, 64),
    # docslib.org 2264648, DDR SO-DIMM: 11.40 + 4.20 + 47.40 mm
    ("so_dimm_200", (20, 80), 63.0, 100),
    # antmicro/data-center-dram-tester, Bus_DDR4_Socket_DIMM
    ("dimm_288_ddr4", (77, 67), 126.65, 144),
    # tiacsys/kicad-footprints, SODIMM-260_DDR4 socket: 71 and 57 steps of 0.5 mm, one of 2.5 mm
    ("so_dimm_260", (72, 58), 66.5, 130),
    # the same library, M.2 cards: contacts 1 and 75, 2 and 74 of 75 places at 0.5 mm
    ("m2", (29, 5), 18.5, 34),
    ("m2", (28, 5), 18.0, 33),
    ("m2", (30, 4), 18.5, 34),
]


@pytest.mark.parametrize(("key", "layout", "span_mm", "count"), SPANS)
def test_published_spans(key: str, layout: tuple[int, ...], span_mm: float, count: int) -> None:
    family = family_named(key)
    assert layout in family.layouts or layout[::-1] in family.layouts
    places = family.places(layout)
    assert len(places) == count
    assert family.pitch_mm * float(np.ptp(places)) == pytest.approx(span_mm, abs=0.02)


def photograph(title: str, layout: tuple[int, ...]) -> tuple[Measurement, float]:
    """A board on a table with that edge and its slots, and the plated area in mm²."""
    family = family_named(title)
    width, length = family.contact_width_mm, family.contact_length_mm[0]
    places = family.places(layout)
    x = 15.0 + family.pitch_mm * places
    wide, high, bottom = float(x[-1]) + 15.0, 50.0, 40.0
    shape = (round(high * PX_PER_MM), round(wide * PX_PER_MM))

    def drawn(mm: np.ndarray) -> np.ndarray:
        return polygon_share(mm * PX_PER_MM - 0.5, shape)

    contacts = union_share([box((a, bottom - 0.5 - length / 2), width, length) * PX_PER_MM - 0.5 for a in x], shape)
    board = drawn(box((wide / 2, bottom - 14.0), wide - 22.0, 28.0))
    for i in np.flatnonzero(np.diff(places) > 1.5):
        slot = max(float(x[i + 1] - x[i]) - width - 0.8, 0.8)
        board = board * (1 - drawn(box((float(x[i] + x[i + 1]) / 2, bottom - 2.0), slot, 6.0)))
    mask = board * drawn(box((wide / 2, bottom - 17.0), wide - 22.0, 30.0))
    layers = [(np.ones(shape), TABLE), (board, LAMINATE), (mask, GREEN_MASK), (contacts, GOLD)]
    picture = paint(layers, blur_px=0.7, noise=2.0)
    done = measure(Photo("edge.png", "12" * 32, picture, "PNG", None))
    return done, len(x) * width * length


@pytest.fixture(scope="module", params=EDGES)
def measured(request: pytest.FixtureRequest) -> tuple[str, Measurement, float]:
    title = str(request.param)
    return title, *photograph(title, EDGES[title])


def test_the_scale_comes_back_from_a_picture_that_shows_nothing_else_of_known_size(
    measured: tuple[str, Measurement, float],
) -> None:
    _, done, plated_mm2 = measured
    assert done.scale is not None
    assert done.scale.method == "pitch"
    assert done.scale.px_per_mm == pytest.approx(PX_PER_MM, rel=2e-3)
    assert done.area is not None
    low, high = np.quantile(done.area.total.draws(), [0.05, 0.95])
    assert low < plated_mm2 < high


def test_published_dimensions_come_back(measured: tuple[str, Measurement, float]) -> None:
    title, done, _ = measured
    family = family_named(title)
    reading = max(done.readings, key=lambda r: r.count)
    assert reading.family == title
    assert reading.count == sum(EDGES[title])
    assert reading.missing == 0
    assert reading.row is not None
    row = done.regions.rows[reading.row]
    assert row.pitch == pytest.approx(family.pitch_mm, rel=2e-3)
    # each side placed to half a pixel
    assert row.contact_width == pytest.approx(family.contact_width_mm, abs=1 / PX_PER_MM)
    assert row.contact_length == pytest.approx(family.contact_length_mm[0], abs=2 / PX_PER_MM)
