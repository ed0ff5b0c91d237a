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
    mouse.press("No gold")
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
    mouse.press("No gold")
    first = mouse.items(1)
    mouse.page.mouse.click(*mouse.at(*FIRST_CONTACT))
    mouse.press("No gold")
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
    mouse.press("No gold")
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


def test_a_whole_row_is_left_out_in_one_tap(mouse: Any) -> None:
    mouse.press("Leave out")
    mouse.press("Its whole row")
    mouse.page.mouse.click(*mouse.at(*FIRST_CONTACT))
    (item,) = mouse.items(1)
    assert item["kind"] == "leave_out"
    assert len(item["also_px"]) == 7
    assert mouse.out()["area_mm2"] == pytest.approx(PAD_MM2, rel=0.02)
    mouse.press("Undo")
    mouse.items(0)
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.02)


def test_a_whole_board_is_left_out_or_named_in_one_step(mouse: Any) -> None:
    mouse.press("Its whole board")
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    mouse.window.see("Whole board: 9 of 9 places")
    mouse.press("hard gold")
    finish = mouse.items(1)[0]
    assert finish["finish"] == "hard_gold"
    mouse.press("No gold")
    assert len(mouse.items(2)[1]["also_px"]) == 8
    assert mouse.out()["area_mm2"] == 0


def test_a_polygon_takes_what_it_holds(mouse: Any) -> None:
    mouse.press("Paint out")
    mouse.press("Polygon")
    for corner in ((520.0, 330.0), (680.0, 330.0), (680.0, 470.0)):
        mouse.page.mouse.click(*mouse.at(*corner))
    mouse.press("Undo")  # of a polygon that is not closed, its last corner
    assert mouse.out()["items"] == []
    for corner in ((680.0, 470.0), (520.0, 470.0), (520.0, 330.0)):
        mouse.page.mouse.click(*mouse.at(*corner))
    (item,) = mouse.items(1)
    assert item["kind"] == "fill_out"
    assert len(item["corners_px"]) == 4
    assert item["px_per_screen_px"] == pytest.approx(mouse.px_per_step(), rel=0.01)
    assert mouse.out()["area_mm2"] == pytest.approx(8 * CONTACT_MM2, rel=0.02)
    mouse.press("Paint in")
    for corner in ((200.0, 400.0), (300.0, 400.0), (300.0, 500.0)):
        mouse.page.mouse.click(*mouse.at(*corner))
    mouse.press("Close the polygon")
    filled = mouse.items(2)[1]
    assert (filled["kind"], filled["finish"]) == ("fill_in", "undetermined")
    assert mouse.out()["area_mm2"] == pytest.approx(8 * CONTACT_MM2 + 5000 / PX_PER_MM**2, rel=0.02)


def test_a_polygon_that_was_begun_is_kept_when_another_tool_is_taken(mouse: Any) -> None:
    mouse.press("Paint out")
    mouse.press("Polygon")
    for corner in ((520.0, 330.0), (680.0, 330.0), (600.0, 470.0)):
        mouse.page.mouse.click(*mouse.at(*corner))
    mouse.press("Choose")
    assert mouse.items(1)[0]["kind"] == "fill_out"


def test_a_polygon_that_is_half_drawn_outlives_a_reload(mouse: Any) -> None:
    mouse.press("Paint out")
    mouse.press("Polygon")
    for corner in ((520.0, 330.0), (680.0, 330.0), (600.0, 470.0)):
        mouse.page.mouse.click(*mouse.at(*corner))
    mouse.window.see("3 corners. Tap the first one to close it.")
    mouse.page.reload()
    mouse.window.see("3 corners. Tap the first one to close it.")
    mouse.press("Close the polygon")
    (item,) = mouse.items(1)
    assert item["kind"] == "fill_out"
    assert len(item["corners_px"]) == 3
    mouse.page.reload()  # what is closed is not begun again
    mouse.press("Paint out")
    mouse.press("Polygon")
    mouse.window.see("Tap the corners of what you outline.")


def test_all_is_undone_and_done_again(mouse: Any) -> None:
    mouse.press("Leave out")
    for place in (PAD_AT, FIRST_CONTACT):
        mouse.page.mouse.click(*mouse.at(*place))
    both = mouse.items(2)
    mouse.press("Undo all")
    out = mouse.until(lambda out: not out["items"])
    assert out["undone"] == both[::-1]
    mouse.press("Redo")
    mouse.press("Redo")
    assert mouse.items(2) == both


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
    mouse.page.get_by_role("button", name="Next place").focus()
    keys.press("Enter")
    mouse.window.see("Place 1 of 9")
    mouse.page.get_by_role("button", name="No gold").focus()
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
    mouse.press("Choose")
    mouse.canvas.focus()
    for _ in range(30):
        keys.press("ArrowRight")
    for _ in range(30):
        keys.press("ArrowDown")
    keys.press("Enter")
    mouse.window.see("Tap a hatched place")  # the corner of the photo is bare
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
    finger.tap("No gold")
    finger.until(lambda out: out["items"] and out["items"][-1]["kind"] == "leave_out")
    finger.tap("Its whole row")
    finger.tap("Leave out")
    tap(*finger.at(*FIRST_CONTACT))
    finger.until(lambda out: len(out["items"][-1].get("also_px", [])) == 7)
    finger.tap("Paint out")
    finger.tap("Polygon")
    for corner in ((520.0, 330.0), (690.0, 330.0), (690.0, 480.0)):
        tap(*finger.at(*corner))
    finger.tap("Close the polygon")
    finger.until(lambda out: out["items"][-1]["kind"] == "fill_out")
    finger.tap("Brush")
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
@pytest.mark.parametrize("mode", ["Choose", "Leave out", "Paint in", "Paint out"])
def test_every_tool_is_for_everyone(opened: Any, mode: str, *, dark: bool) -> None:
    made = opened(touch=True, dark=dark)
    made.tap(mode)
    if mode == "Choose":
        made.page.touchscreen.tap(*made.at(*PAD_AT))
    assert made.window.violations() == []
    assert made.small_targets() == []
    assert made.window.sideways_px() <= 0


def test_overlay_shows_each_finish_without_colour_and_can_be_taken_away(mouse: Any) -> None:
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
    mouse.page.get_by_label("How much of the picture shows the bare photo").fill("100")
    mouse.window.rest()
    assert spread(grey_of_pad()) < 3  # the bare photo: one colour
    mouse.page.get_by_label("How much of the picture shows the bare photo").fill("60")
    mouse.window.rest()
    assert spread(grey_of_pad()) > 12  # the pad lies behind the edge, the contacts before it
    mouse.page.get_by_label("How much of the picture shows the bare photo").fill("0")
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
    mouse.press("No gold")
    mouse.items(1)
    mouse.press("Begin again")
    assert mouse.items(0) == []
    expect(mouse.page.get_by_role("button", name="Undo", exact=True)).to_be_disabled()
