"""Correcting on the picture in a real browser: finger, mouse and keys; what it gives is what was done."""

from __future__ import annotations

import math
from typing import Any

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser

WIDTH_PX, HEIGHT_PX = 800, 600
PX_PER_MM = 8.0
PAD_AT, PAD_MM2 = (600.0, 400.0), 120 * 100 / PX_PER_MM**2
FIRST_CONTACT, CONTACT_MM2 = (100.0, 100.0), 40 * 120 / PX_PER_MM**2
ALL_MM2 = PAD_MM2 + 8 * CONTACT_MM2
BARE = (300.0, 500.0)


def test_a_chosen_region_can_be_left_out_and_brought_back(mouse: Any) -> None:
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.02)
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    mouse.window.see("188 mm²")
    mouse.press("No gold: leave out")
    (item,) = mouse.items(1)
    assert item["kind"] == "leave_out"
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2 - PAD_MM2, rel=0.02)
    mouse.press("hard gold")
    assert mouse.items(2)[1]["finish"] == "hard_gold"
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.02)


def test_undo_and_redo_follow_the_list(mouse: Any) -> None:
    undo, redo = (mouse.page.get_by_role("button", name=name, exact=True) for name in ("Undo", "Redo"))
    expect(undo).to_be_disabled()
    expect(redo).to_be_disabled()
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    mouse.press("No gold: leave out")
    first = mouse.items(1)
    mouse.page.mouse.click(*mouse.at(*FIRST_CONTACT))
    mouse.press("No gold: leave out")
    both = mouse.items(2)
    mouse.press("Undo")
    assert mouse.items(1) == first
    mouse.press("Redo")
    assert mouse.items(2) == both
    mouse.canvas.focus()
    mouse.page.keyboard.press("Control+z")
    mouse.page.keyboard.press("Control+z")
    assert mouse.items(0) == []
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.02)
    mouse.page.keyboard.press("Control+Shift+z")
    assert mouse.items(1) == first
    mouse.page.mouse.click(*mouse.at(*FIRST_CONTACT))
    mouse.press("No gold: leave out")
    mouse.items(2)
    expect(redo).to_be_disabled()  # what comes after a new correction is no more


def test_what_the_brush_paints_is_what_is_given(mouse: Any) -> None:
    mouse.press("Paint in")
    mouse.page.get_by_label("What is painted in is").select_option("hard_gold")
    path = ((150.0, 450.0), (350.0, 450.0), (350.0, 540.0))
    mouse.stroke(*path)
    (item,) = mouse.items(1)
    assert item["kind"] == "paint_in"
    assert item["finish"] == "hard_gold"
    assert item["radius_px"] == pytest.approx(0.5 * PX_PER_MM, rel=0.03)  # the brush is 1 mm wide
    given = item["path_px"]
    near = 1.5 * mouse.px_per_step()
    assert math.dist(given[0], path[0]) < near
    assert math.dist(given[-1], path[-1]) < near
    assert min(math.dist(p, path[1]) for p in given) < near
    swept = (2 * item["radius_px"] * 290 + math.pi * item["radius_px"] ** 2) / PX_PER_MM**2
    painted = mouse.out()["area_mm2"] - ALL_MM2
    assert painted == pytest.approx(swept, rel=0.06)
    mouse.press("Paint out")
    mouse.stroke(*path)
    assert [i["kind"] for i in mouse.items(2)] == ["paint_in", "paint_out"]
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.01)


def test_the_brush_is_sized_in_mm(mouse: Any) -> None:
    mouse.press("Paint out")
    brush = mouse.page.get_by_label("Width of the brush")
    brush.fill("100")
    expect(mouse.page.locator("[data-part=brush_size]")).to_have_text("12.0 mm")
    mouse.stroke(PAD_AT)
    (item,) = mouse.items(1)
    assert item["radius_px"] == pytest.approx(6 * PX_PER_MM, rel=0.01)
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2 - math.pi * 36, rel=0.03)


def test_the_wheel_zooms_to_the_pixels_under_it(mouse: Any) -> None:
    at = mouse.at(*PAD_AT)
    mouse.page.mouse.move(*at)
    for _ in range(12):
        mouse.page.mouse.wheel(0, -400)
    mouse.window.rest()
    mouse.page.mouse.click(*at)
    mouse.window.see("188 mm²")
    mouse.press("Paint out")
    mouse.page.mouse.move(*at)
    mouse.page.mouse.down()
    mouse.page.mouse.move(at[0] + 80, at[1], steps=4)
    mouse.page.mouse.up()
    (item,) = mouse.items(1)
    # 80 px of the window are 2 px of the photo at the largest zoom, 40
    assert math.dist(item["path_px"][0], PAD_AT) < 1.0
    assert item["path_px"][-1][0] - item["path_px"][0][0] == pytest.approx(2.0, abs=0.6)


def test_all_of_it_by_keys(mouse: Any) -> None:
    keys = mouse.page.keyboard
    mouse.page.get_by_role("button", name="Next region").focus()
    keys.press("Enter")
    mouse.window.see("Region 1 of 9")
    mouse.page.get_by_role("button", name="No gold: leave out").focus()
    keys.press("Enter")
    assert mouse.items(1)[0]["kind"] == "leave_out"  # the largest comes first: the pad
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2 - PAD_MM2, rel=0.02)
    mouse.page.get_by_role("button", name="Paint in", exact=True).focus()
    keys.press("Space")
    mouse.canvas.focus()
    for key in ("0", "Enter", "ArrowRight", "ArrowRight"):
        keys.press(key)
        mouse.window.rest()
    keys.press("Enter")
    stroke = mouse.items(2)[1]
    assert stroke["kind"] == "paint_in"
    (x0, y0), (x1, y1) = stroke["path_px"][0], stroke["path_px"][-1]
    assert (x0, y0) == pytest.approx(((WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2), abs=0.1)
    assert x1 - x0 == pytest.approx(2 * 24 * mouse.px_per_step(), rel=0.05)
    assert y1 == pytest.approx(y0, abs=0.1)
    keys.press("Enter")
    keys.press("Escape")  # a brush put down and given up paints nothing
    assert len(mouse.out()["items"]) == 2


def test_keys_move_and_enlarge_the_photo(mouse: Any) -> None:
    mouse.canvas.focus()
    keys = mouse.page.keyboard
    mouse.press("Look and choose")
    mouse.canvas.focus()
    for _ in range(30):
        keys.press("ArrowRight")
    for _ in range(30):
        keys.press("ArrowDown")
    keys.press("Enter")
    mouse.window.see("Tap a coloured region")  # the corner of the photo is bare
    keys.press("0")
    for _ in range(8):
        keys.press("ArrowRight")
    for _ in range(4):
        keys.press("ArrowDown")
    keys.press("+")
    keys.press("Enter")
    mouse.window.see("188 mm²")


def test_by_finger_on_a_phone(finger: Any) -> None:
    tap = finger.page.touchscreen.tap
    tap(*finger.at(*PAD_AT))
    finger.window.see("188 mm²")
    finger.tap("immersion gold")
    finger.tap("No gold: leave out")
    finger.until(lambda out: out["items"] and out["items"][-1]["kind"] == "leave_out")
    finger.tap("Paint in")
    count = len(finger.out()["items"])
    tap(*finger.at(*BARE))
    items = finger.items(count + 1)
    assert math.dist(items[-1]["path_px"][0], BARE) < 1.5 * finger.px_per_step()


def test_two_fingers_zoom_and_paint_nothing(finger: Any) -> None:
    finger.tap("Paint out")
    x, y = finger.at(*PAD_AT)
    session = finger.window.context.new_cdp_session(finger.page)

    def touch(kind: str, *places: tuple[float, float]) -> None:
        session.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": [{"x": px, "y": py, "id": i} for i, (px, py) in enumerate(places)]},
        )

    touch("touchStart", (x - 20, y))
    touch("touchStart", (x - 20, y), (x + 20, y))
    for spread in range(20, 81, 10):
        touch("touchMove", (x - spread, y), (x + spread, y))
    touch("touchEnd")
    assert finger.out()["items"] == []
    finger.page.touchscreen.tap(x, y)
    (item,) = finger.items(1)
    assert math.dist(item["path_px"][0], PAD_AT) < 12  # the pad stayed between the fingers
    session.detach()


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("mode", ["Look and choose", "Paint in", "Paint out"])
def test_every_tool_is_for_everyone(opened: Any, mode: str, *, dark: bool) -> None:
    made = opened(touch=True, dark=dark)
    made.tap(mode)
    if mode == "Look and choose":
        made.page.touchscreen.tap(*made.at(*PAD_AT))
    assert made.window.violations() == []
    assert made.small_targets() == []
    assert made.window.sideways_px() <= 0


def test_overlay_shows_each_finish_without_colour_and_can_be_faded(mouse: Any) -> None:
    """With all colour taken away, plating that was found still differs from plating that was left out."""

    def grey_of_pad() -> list[float]:
        x, y = mouse.at(*PAD_AT)
        box = mouse.canvas.bounding_box()
        assert box is not None
        return list(
            mouse.canvas.evaluate(
                """(c, [x, y]) => {
                    const k = c.width / c.getBoundingClientRect().width;
                    const d = c.getContext('2d').getImageData((x - 15) * k, (y - 15) * k, 30 * k, 30 * k).data;
                    const grey = []; for (let i = 0; i < d.length; i += 4)
                        grey.push(0.2126 * d[i] + 0.7152 * d[i + 1] + 0.0722 * d[i + 2]);
                    return grey; }""",
                [x - box["x"], y - box["y"]],
            )
        )

    def spread(grey: list[float]) -> float:
        mean = sum(grey) / len(grey)
        return math.sqrt(sum((g - mean) ** 2 for g in grey) / len(grey))

    found = spread(grey_of_pad())
    assert found > 12  # hatched
    mouse.page.get_by_label("Strength of the overlay").fill("0")
    mouse.window.rest()
    assert spread(grey_of_pad()) < 3  # the bare photo: one colour
    mouse.page.get_by_label("Strength of the overlay").fill("100")
    textures = []
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    for name in ("hard gold", "immersion gold", "finish undetermined"):
        mouse.press(name)
        mouse.window.rest()
        textures.append(grey_of_pad())
    assert all(spread(t) > 12 for t in textures)
    assert len({round(spread(t), 1) for t in textures}) == 3


def test_begin_again_starts_with_an_empty_list(mouse: Any) -> None:
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    mouse.press("No gold: leave out")
    mouse.items(1)
    mouse.press("Begin again")
    assert mouse.items(0) == []
    expect(mouse.page.get_by_role("button", name="Undo", exact=True)).to_be_disabled()
