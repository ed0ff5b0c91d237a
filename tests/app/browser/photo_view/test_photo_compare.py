"""The picture of a result on the real page: what was found is laid over the photo, and a slider takes it away."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.browser

# A number for the left half of the canvas and one for the right, which change with their pixels.
PIXELS = """c => {
  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  const half = [0, 0];
  for (let y = 0; y < c.height; y++)
    for (let x = 0; x < c.width; x++) {
      const i = 4 * (y * c.width + x);
      half[x < c.width / 2 ? 0 : 1] += (7 * d[i] + 5 * d[i + 1] + 3 * d[i + 2]) % 251;
    }
  return half;
}"""


@pytest.mark.parametrize("width", [1280, 390])
def test_a_slider_takes_away_what_was_found(
    new_window: Callable[..., Any], address: str, measured_lot: str, width: int
) -> None:
    window = new_window(width=width, has_touch=width == 390)
    window.visit(address, f"measure?lot={measured_lot}")
    picture = window.see(window.page.get_by_role("img", name="The photo with what was found"))
    slider = window.page.get_by_label("How much of the picture shows the bare photo")

    def halves(bare: int) -> list[float]:
        slider.fill(str(bare))
        before: list[float] = []
        now: list[float] = picture.evaluate(PIXELS)
        while now != before:  # the picture and what lies over it come one after the other
            window.page.wait_for_timeout(300)
            before, now = now, picture.evaluate(PIXELS)
        return now

    found, bare, half = halves(0), halves(100), halves(50)
    assert found[0] != bare[0]
    assert found[1] != bare[1]
    # the line between them lies in the middle: the left is the bare photo, the right what was found, but for it
    assert half != found
    assert half != bare
    assert halves(0) == found
    assert window.violations() == []
    assert window.sideways_px() <= 0
