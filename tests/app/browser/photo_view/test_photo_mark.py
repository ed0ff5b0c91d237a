"""Marking points on the picture in a real browser."""

from __future__ import annotations

import math
from typing import Any

import pytest

pytestmark = pytest.mark.browser

WIDTH_PX, HEIGHT_PX = 800, 600
PAD_AT = (600.0, 400.0)
CORNERS = ((540.0, 350.0), (660.0, 350.0), (660.0, 450.0), (540.0, 450.0))


def mark_all(bench: Any) -> None:
    for place in [bench.at(*corner) for corner in CORNERS]:
        bench.page.mouse.click(*place)


def test_clicks_set_the_points_in_order_however_fast(marking: Any) -> None:
    mark_all(marking)
    marks = marking.until(lambda out: None not in out)
    for mark, corner in zip(marks, CORNERS, strict=True):
        assert math.dist(mark, corner) < 1.2 * marking.px_per_step()
    marking.window.see("drag it, or use the arrow keys")


def test_a_point_is_dragged_and_nudged_by_a_pixel(marking: Any) -> None:
    mark_all(marking)
    before = marking.until(lambda out: None not in out)
    start, end = marking.at(*CORNERS[2]), marking.at(700.0, 500.0)
    marking.page.mouse.move(start[0] + 5, start[1] + 4)  # a little beside it
    marking.page.mouse.down()
    marking.page.mouse.move(end[0] + 5, end[1] + 4, steps=5)
    marking.page.mouse.up()
    moved = marking.until(lambda out: out[2] != before[2])
    assert math.dist(moved[2], (700.0, 500.0)) < 2 * marking.px_per_step()
    assert [moved[i] for i in (0, 1, 3)] == [before[i] for i in (0, 1, 3)]
    marking.canvas.focus()
    marking.page.keyboard.press("ArrowRight")
    marking.page.keyboard.press("Shift+ArrowUp")
    nudged = marking.until(lambda out: out[2][1] != moved[2][1])
    assert nudged[2] == pytest.approx([moved[2][0] + 1, moved[2][1] - 0.1], abs=0.01)


def test_points_by_keys_alone(marking: Any) -> None:
    marking.canvas.focus()
    keys = marking.page.keyboard
    keys.press("Enter")
    first = marking.until(lambda out: out[0] is not None)
    assert first[0] == pytest.approx([(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2], abs=0.1)
    keys.press("ArrowLeft")
    keys.press("Enter")
    second = marking.until(lambda out: out[1] is not None)
    assert second[1][0] == pytest.approx(first[0][0] - 24 * marking.px_per_step(), abs=0.6)


def test_number_fields_and_picture_agree(marking: Any) -> None:
    mark_all(marking)
    marking.until(lambda out: None not in out)
    field = marking.page.get_by_label("Corner 1, x px")
    field.fill("333")
    field.press("Enter")
    marking.until(lambda out: out[0][0] == 333)
    marking.canvas.focus()
    marking.window.see(marking.page.get_by_role("button", name="Corner 1, at 333"))


def test_all_points_can_be_removed(marking: Any) -> None:
    mark_all(marking)
    marking.until(lambda out: None not in out)
    marking.press("Remove all points")
    assert marking.until(lambda out: out == [None] * 4) == [None] * 4


def test_a_loupe_shows_the_pixels_under_the_pointer(marking: Any) -> None:
    """Over the middle of the pad the loupe is filled with gold; over bare board it is green."""

    def loupe(place: tuple[float, float]) -> list[int]:
        marking.page.mouse.move(*marking.at(*place))
        marking.window.rest()
        return list(
            marking.canvas.evaluate(
                """(c, left) => {
                    const box = c.getBoundingClientRect(), k = c.width / box.width;
                    const r = Math.min(76, box.width / 5), x = left ? box.width - r - 8 : r + 8;
                    const at = [(x + r / 3) * k, (r + 8 + r / 3) * k];
                    return [...c.getContext('2d').getImageData(...at, 1, 1).data]; }""",
                place[0] < WIDTH_PX / 2,
            )
        )

    gold, green = loupe(PAD_AT), loupe((500.0, 520.0))
    assert gold[0] > 150
    assert gold[0] > gold[2] + 60
    assert green[1] > green[0]


@pytest.mark.parametrize("dark", [False, True])
def test_marking_is_for_everyone(opened: Any, *, dark: bool) -> None:
    made = opened("?mark=8", touch=True, dark=dark)
    made.page.touchscreen.tap(*made.at(*PAD_AT))
    assert made.window.violations() == []
    assert made.small_targets() == []
    assert made.window.sideways_px() <= 0
