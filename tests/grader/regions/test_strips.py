"""Contacts that ran together in the coverage are counted by what recurs in the picture."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.families import family_named
from grader.coverage import Coverage
from grader.regions import contact_line, read_contact_rows
from grader.regions.strips import strip_rows
from tests.drawn_boards import GOLD, GREEN_MASK, LAMINATE, TABLE, box, paint, polygon_share, union_share
from tests.regions_of import find_regions

PX = 9.0
SHAPE = (260, 760)


def scene(
    title: str, layout: tuple[int, ...], angle_deg: float = 0.0, *, gaps: bool = True, contact: int = 255
) -> tuple[Coverage, np.ndarray]:
    """A card whose contacts the coverage holds as one strip between keys."""
    family = family_named(title)
    places, width, length = family.places(layout), family.contact_width_mm, family.contact_length_mm[1]
    x, middle = 10.0 + family.pitch_mm * places, np.array([SHAPE[1], SHAPE[0]]) / PX / 2
    turn = np.radians(angle_deg)
    about = np.array([float(x.mean()), 15.0])
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])

    def drawn(mm: np.ndarray) -> np.ndarray:
        return polygon_share(((mm - about) @ spin + middle) * PX - 0.5, SHAPE)

    ends = np.flatnonzero(np.diff(places) > 1.5)
    firsts, lasts = x[[0, *(ends + 1)]], x[[*ends, len(x) - 1]]
    groups = [drawn(box(((a + b) / 2, 15.0), b - a + width, length)) for a, b in zip(firsts, lasts, strict=True)]
    strip = np.clip(sum(groups), 0, 1)
    shapes = [((box((a, 15.0), width, length) - about) @ spin + middle) * PX - 0.5 for a in x]
    plated = union_share(shapes, SHAPE) if gaps else strip
    board = drawn(box((float(x.mean()), 11.0), float(np.ptp(x)) + 8.0, 14.0))
    laminate = drawn(box((float(x.mean()), 15.0), float(np.ptp(x)) + 4.0, length + 1.0))
    rgb = paint([(np.ones(SHAPE), TABLE), (board, GREEN_MASK), (laminate, LAMINATE), (plated, GOLD)])
    seen = Coverage(
        np.round(strip * (190 + 20 * union_share(shapes, SHAPE))).astype(np.uint8),
        board > 0.5,
        "merged",
        (),
        contact=np.full(SHAPE, contact, np.uint8),
    )
    return seen, rgb


@pytest.mark.parametrize("angle_deg", [0.0, 17.0, 90.0])
@pytest.mark.parametrize(
    ("title", "layout"), [("PCI Express", (11, 21)), ("PCI Express", (11, 7)), ("PCI Express Mini Card", (8, 18))]
)
def test_a_merged_row_is_recognised_and_gives_its_scale(
    title: str, layout: tuple[int, ...], angle_deg: float
) -> None:
    if angle_deg == 90.0:
        coverage, rgb = scene(title, layout)
        coverage = Coverage(
            np.ascontiguousarray(coverage.share.T), coverage.board.T, "merged", (), contact=coverage.contact.T
        )
        rgb = np.ascontiguousarray(rgb.transpose(1, 0, 2))
    else:
        coverage, rgb = scene(title, layout, angle_deg)
    readings = read_contact_rows(find_regions(coverage, None), coverage, rgb)
    [family] = {r.family for r in readings if r.matches}
    assert title in (family or "")
    line = contact_line(readings)
    assert line is not None
    assert line.px_per_mm() == pytest.approx(PX, rel=0.01)


@pytest.mark.parametrize("cut", range(300, 560, 20))
def test_a_strip_that_the_picture_cuts_off_is_read_as_far_as_it_goes(cut: int) -> None:
    coverage, rgb = scene("PCI Express", (11, 21))
    part = Coverage(coverage.share[:, :cut], coverage.board[:, :cut], "merged", (), contact=coverage.contact[:, :cut])
    for row in strip_rows(part, np.ascontiguousarray(rgb[:, :cut])):
        middles = row.boxes_px.mean(axis=1)
        assert (middles[:, 0] < cut).all()
        steps = np.hypot(*np.diff(middles, axis=0).T) / PX
        assert np.median(steps) == pytest.approx(1.0, rel=0.03)


def test_a_strip_without_gaps_holds_no_row() -> None:
    coverage, rgb = scene("PCI Express", (11, 21), gaps=False)
    assert strip_rows(coverage, rgb) == ()


def test_what_is_not_taken_for_edge_contacts_is_not_looked_at() -> None:
    coverage, rgb = scene("PCI Express", (11, 21), contact=40)
    assert strip_rows(coverage, rgb) == ()


def test_without_plating_there_is_no_strip() -> None:
    coverage, rgb = scene("PCI Express", (11, 21))
    nothing = Coverage(np.zeros(SHAPE, np.uint8), coverage.board, "none", (), contact=coverage.contact)
    assert strip_rows(nothing, rgb) == ()
