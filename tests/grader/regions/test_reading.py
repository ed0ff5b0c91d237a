"""Rows read from drawn contacts: keys, missing and merged contacts, families, without any scale."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from calibration.families import ContactFamily, contact_families, family_named
from grader.coverage import Coverage
from grader.regions import RowReading, contact_line, missing_notices, read_contact_rows
from tests.drawn_boards import box, polygon_share, union_share
from tests.regions_of import find_regions

SHAPE = (220, 1500)
PX = 10.0  # px per mm at the left end


def contacts(places: np.ndarray, pitch: float, size: tuple[float, float]) -> list[np.ndarray]:
    """Contacts in mm whose lower ends lie on y = 14 mm."""
    return [box((6.0 + pitch * p, 14.0 - size[1] / 2), *size) for p in places]


def to_px(mm: np.ndarray, closer: float = 0.0) -> np.ndarray:
    """A view whose scale falls by a share ``closer`` over 100 mm to the right."""
    return PX * mm / (1 + closer * mm[:, :1] / 100)


def seen(
    shapes_mm: Iterable[np.ndarray], slots_mm: Iterable[tuple[float, float]] = (), closer: float = 0.0
) -> tuple[RowReading, ...]:
    """Readings of contacts on a board that reaches to y = 14.5 mm, with slots cut in between two x."""
    share = union_share([to_px(c, closer) for c in shapes_mm], SHAPE)
    board = polygon_share(to_px(box((70.0, 7.0), 138.0, 15.0), closer), SHAPE) > 0.5
    for left, right in slots_mm:
        cut = box(((left + right) / 2, 12.0), right - left, 8.0)
        board &= polygon_share(to_px(cut, closer), SHAPE) < 0.5
    coverage = Coverage(np.round(255 * share).astype(np.uint8), board, "truth", ())
    return read_contact_rows(find_regions(coverage, None), coverage)


LARGE = [
    (f, layout)
    for f in contact_families()
    for layout in f.layouts
    if len(layout) > 1
    and not f.only_rules_out
    and f.contact_width_mm * PX >= 4
    and f.places(layout)[-1] * f.pitch_mm < 126
]


@pytest.mark.parametrize("closer", [0.0, 0.12])
@pytest.mark.parametrize(("family", "layout"), LARGE, ids=[f"{f.key}-{sum(g)}-{g[0]}" for f, g in LARGE])
def test_published_outlines_are_recognised_in_perspective_too(
    family: ContactFamily, layout: tuple[int, ...], closer: float
) -> None:
    size = (family.contact_width_mm, float(np.mean(family.contact_length_mm)))
    [reading] = seen(contacts(family.places(layout), family.pitch_mm, size), closer=closer)
    assert reading.count == sum(layout)
    assert reading.missing == 0
    assert len(reading.keys) == len(layout) - 1
    assert family.title in (reading.family or "")
    assert reading.pitch_mm == family.pitch_mm


def test_size_does_not_matter() -> None:
    # a row of twice the size is the same row: the photo may have been taken from nearer
    places = family_named("PCI Express").places((11, 21))
    for factor in (1.0, 2.0):
        [reading] = seen(contacts(places, factor, (0.7 * factor, 4.3 * factor)))
        assert reading.family == "PCI Express"


def test_a_missing_contact_of_a_known_row_is_told() -> None:
    places = np.delete(family_named("PCI Express").places((11, 38)), [20, 30])
    [reading] = seen(contacts(places, 1.0, (0.7, 4.3)))
    assert reading.family == "PCI Express"
    assert reading.missing == 2
    assert reading.keys == (10,)
    [told] = missing_notices((reading,))
    assert told.code == "contacts-missing"
    assert "2 contacts of a row of 49" in told.message


def test_contacts_lost_after_the_scale_was_taken_are_told() -> None:
    outline = family_named("PCI Express").places((11, 38))
    first = seen(contacts(outline, 1.0, (0.7, 4.3)))
    line = contact_line(first)
    assert line is not None
    assert line.total == 49
    assert missing_notices(first, line) == ()
    later = seen(contacts(outline[:38], 1.0, (0.7, 4.3)))
    [told] = missing_notices(later, line)
    assert "11 contacts of a row of 49" in told.message
    assert missing_notices((), line) == ()


def test_contacts_that_ran_together_are_counted_and_not_missing() -> None:
    places = family_named("PCI Express").places((11, 38))
    apart = contacts(np.delete(places, [0, 1, 2, 25, 26]), 1.0, (0.7, 4.3))
    merged = [box((6.0 + 1.0, 14 - 2.15), 2.7, 4.3), box((6.0 + places[25] + 0.5, 14 - 2.15), 1.7, 4.3)]
    [reading] = seen([*apart, *merged])
    assert reading.count == 49
    assert reading.missing == 0
    assert int(np.sum(~reading.alone)) == 5
    assert reading.family == "PCI Express"
    line = contact_line((reading,))
    assert line is not None
    assert len(line.places) == 44


def test_a_notch_in_the_board_is_a_key_and_a_gap_without_one_is_missing() -> None:
    places = np.delete(np.arange(40), [12, 13, 28])
    slot = (6.0 + 11.6, 6.0 + 13.4)
    [with_notch] = seen(contacts(places, 1.0, (0.6, 4.0)), [slot])
    assert with_notch.keys == (11,)
    assert with_notch.missing == 1
    assert with_notch.family is None


def test_the_widest_gap_may_be_a_key_that_cannot_be_seen() -> None:
    [reading] = seen(contacts(np.delete(np.arange(40), [12, 13]), 1.0, (0.6, 4.0)))
    assert reading.keys == ()
    assert reading.missing == 0
    assert missing_notices((reading,)) == ()


def test_uneven_and_short_rows_are_not_read() -> None:
    uneven = np.cumsum([0, 1.0, 1.5, 1.0, 1.45, 0.9, 1.35, 1.6, 1.0, 1.45])
    assert seen(contacts(uneven, 1.0, (0.5, 3.0))) == ()
    assert seen(contacts(np.arange(5), 1.0, (0.5, 3.0))) == ()


def test_nothing_recognised_gives_no_line() -> None:
    assert contact_line(()) is None
    assert contact_line(seen(contacts(np.arange(40), 1.0, (0.6, 4.0)))) is None
