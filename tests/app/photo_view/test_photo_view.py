"""The picture component in a real browser: finger, mouse and keys; what it gives is what was done."""

from __future__ import annotations

import json
import math
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Locator, Page, expect

pytestmark = pytest.mark.browser

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
WIDTH_PX, HEIGHT_PX = 800, 600
PX_PER_MM = 8.0
PAD_AT, PAD_MM2 = (600.0, 400.0), 120 * 100 / PX_PER_MM**2
FIRST_CONTACT, CONTACT_MM2 = (100.0, 100.0), 40 * 120 / PX_PER_MM**2
ALL_MM2 = PAD_MM2 + 8 * CONTACT_MM2
BARE = (300.0, 500.0)
START_S = 60


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the bench page answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = {
        "server.port": str(port), "server.headless": "true", "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false", "server.address": "localhost", "client.toolbarMode": "minimal",
    }  # fmt: skip
    command = [sys.executable, "-m", "streamlit", "run", str(HERE / "bench_page.py")]
    options = [f"--{name}={value}" for name, value in settings.items()]
    log = tmp_path_factory.mktemp("bench") / "server.txt"
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    with log.open("wb") as output:
        server = subprocess.Popen([*command, *options], env=surroundings, stdout=output, stderr=output)
        try:
            _wait_for(f"http://localhost:{port}", server, log)
            yield f"http://localhost:{port}"
        finally:
            server.terminate()
            server.wait(20)


def _wait_for(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
    pytest.fail(f"The page did not start:\n{log.read_text()}")


class Bench:
    """The component as a person uses it. Places are in px of the photo."""

    def __init__(self, browser: Browser, address: str, *, touch: bool = False, dark: bool = False) -> None:
        self.context = browser.new_context(
            viewport={"width": 390 if touch else 1280, "height": 844},
            has_touch=touch,
            color_scheme="dark" if dark else "light",
        )
        self.page: Page = self.context.new_page()
        self.troubles: list[str] = []
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        self.page.on("console", self._heard)
        self.page.goto(address)
        self.canvas: Locator = self.page.locator("canvas")
        self.canvas.wait_for(timeout=60_000)
        self.page.locator("#out").wait_for()
        self.page.wait_for_function("document.querySelector('#out').innerText.length > 1")
        self.settle()

    def _heard(self, message: ConsoleMessage) -> None:
        # reading pixels back slows a canvas down, which the browser says; only these tests do
        if message.type in ("error", "warning") and "willReadFrequently" not in message.text:
            self.troubles.append(message.text)

    def settle(self) -> None:
        """Wait until the canvas has been drawn as it now is."""
        self.page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")

    def out(self) -> Any:
        return json.loads(self.page.locator("#out").inner_text())

    def until(self, what: Any) -> Any:
        """What was given, as soon as it fulfils a condition."""
        end = time.monotonic() + 20
        while not what(self.out()):
            assert time.monotonic() < end, f"not so: {self.out()}"
            self.page.wait_for_timeout(50)
        return self.out()

    def items(self, count: int) -> list[dict[str, Any]]:
        return list(self.until(lambda out: len(out["items"]) == count)["items"])

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place of the photo in the window, while the whole photo is shown."""
        self.canvas.scroll_into_view_if_needed()
        box = self.canvas.bounding_box()
        assert box is not None
        zoom = min(box["width"] / WIDTH_PX, box["height"] / HEIGHT_PX)
        left, top = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        return left + (x - (WIDTH_PX - 1) / 2) * zoom, top + (y - (HEIGHT_PX - 1) / 2) * zoom

    def px_per_step(self) -> float:
        """Px of the photo under one px of the window."""
        return abs(1 / (self.at(1, 0)[0] - self.at(0, 0)[0]))

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def stroke(self, *path: tuple[float, float]) -> None:
        self.page.mouse.move(*self.at(*path[0]))
        self.page.mouse.down()
        for place in path[1:]:
            self.page.mouse.move(*self.at(*place), steps=6)
        self.page.mouse.up()


@pytest.fixture
def mouse(browser: Browser, bench: str) -> Iterator[Bench]:
    made = Bench(browser, bench)
    yield made
    made.context.close()
    assert not made.troubles


@pytest.fixture
def finger(browser: Browser, bench: str) -> Iterator[Bench]:
    made = Bench(browser, bench, touch=True, dark=True)
    yield made
    made.context.close()
    assert not made.troubles


def test_a_chosen_region_can_be_left_out_and_brought_back(mouse: Bench) -> None:
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.02)
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    expect(mouse.page.get_by_text("188 mm²")).to_be_visible()
    mouse.press("No gold: leave out")
    (item,) = mouse.items(1)
    assert item["kind"] == "leave_out"
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2 - PAD_MM2, rel=0.02)
    mouse.press("hard gold")
    assert mouse.items(2)[1]["finish"] == "hard_gold"
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2, rel=0.02)


def test_undo_and_redo_follow_the_list(mouse: Bench) -> None:
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


def test_what_the_brush_paints_is_what_is_given(mouse: Bench) -> None:
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


def test_the_brush_is_sized_in_mm(mouse: Bench) -> None:
    mouse.press("Paint out")
    brush = mouse.page.get_by_label("Width of the brush")
    brush.fill("100")
    expect(mouse.page.locator("[data-part=brush_size]")).to_have_text("12.0 mm")
    mouse.stroke(PAD_AT)
    (item,) = mouse.items(1)
    assert item["radius_px"] == pytest.approx(6 * PX_PER_MM, rel=0.01)
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2 - math.pi * 36, rel=0.03)


def test_the_wheel_zooms_to_the_pixels_under_it(mouse: Bench) -> None:
    at = mouse.at(*PAD_AT)
    mouse.page.mouse.move(*at)
    for _ in range(12):
        mouse.page.mouse.wheel(0, -400)
    mouse.settle()
    mouse.page.mouse.click(*at)
    expect(mouse.page.get_by_text("188 mm²")).to_be_visible()
    mouse.press("Paint out")
    mouse.page.mouse.move(*at)
    mouse.page.mouse.down()
    mouse.page.mouse.move(at[0] + 80, at[1], steps=4)
    mouse.page.mouse.up()
    (item,) = mouse.items(1)
    # 80 px of the window are 2 px of the photo at the largest zoom, 40
    assert math.dist(item["path_px"][0], PAD_AT) < 1.0
    assert item["path_px"][-1][0] - item["path_px"][0][0] == pytest.approx(2.0, abs=0.6)


def test_all_of_it_by_keys(mouse: Bench) -> None:
    keys = mouse.page.keyboard
    mouse.page.get_by_role("button", name="Next region").focus()
    keys.press("Enter")
    expect(mouse.page.get_by_text("Region 1 of 9")).to_be_visible()
    mouse.page.get_by_role("button", name="No gold: leave out").focus()
    keys.press("Enter")
    assert mouse.items(1)[0]["kind"] == "leave_out"  # the largest comes first: the pad
    assert mouse.out()["area_mm2"] == pytest.approx(ALL_MM2 - PAD_MM2, rel=0.02)
    mouse.page.get_by_role("button", name="Paint in", exact=True).focus()
    keys.press("Space")
    mouse.canvas.focus()
    for key in ("0", "Enter", "ArrowRight", "ArrowRight"):
        keys.press(key)
        mouse.settle()
    keys.press("Enter")
    stroke = mouse.items(2)[1]
    assert stroke["kind"] == "paint_in"
    (x0, y0), (x1, y1) = stroke["path_px"][0], stroke["path_px"][-1]
    assert (x0, y0) == pytest.approx(((WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2), abs=0.1)
    assert x1 - x0 == pytest.approx(2 * 24 * mouse.px_per_step(), rel=0.05)
    assert y1 == pytest.approx(y0, abs=0.1)
    keys.press("Enter")
    keys.press("Escape")  # a brush put down and given up paints nothing
    mouse.page.wait_for_timeout(300)
    assert len(mouse.out()["items"]) == 2


def test_keys_move_and_enlarge_the_photo(mouse: Bench) -> None:
    mouse.canvas.focus()
    keys = mouse.page.keyboard
    mouse.press("Look and choose")
    mouse.canvas.focus()
    for _ in range(30):
        keys.press("ArrowRight")
    for _ in range(30):
        keys.press("ArrowDown")
    keys.press("Enter")
    expect(mouse.page.get_by_text("Tap a coloured region")).to_be_visible()  # the corner of the photo is bare
    keys.press("0")
    for _ in range(8):
        keys.press("ArrowRight")
    for _ in range(4):
        keys.press("ArrowDown")
    keys.press("+")
    keys.press("Enter")
    expect(mouse.page.get_by_text("188 mm²")).to_be_visible()


def test_by_finger_on_a_phone(finger: Bench) -> None:
    tap = finger.page.touchscreen.tap
    tap(*finger.at(*PAD_AT))
    expect(finger.page.get_by_text("188 mm²")).to_be_visible()
    finger.page.get_by_role("button", name="immersion gold", exact=True).tap()
    finger.page.get_by_role("button", name="No gold: leave out").tap()
    finger.until(lambda out: out["items"] and out["items"][-1]["kind"] == "leave_out")
    finger.page.get_by_role("button", name="Paint in", exact=True).tap()
    count = len(finger.out()["items"])
    tap(*finger.at(*BARE))
    items = finger.items(count + 1)
    assert math.dist(items[-1]["path_px"][0], BARE) < 1.5 * finger.px_per_step()


def test_two_fingers_zoom_and_paint_nothing(finger: Bench) -> None:
    finger.page.get_by_role("button", name="Paint out", exact=True).tap()
    x, y = finger.at(*PAD_AT)
    session = finger.context.new_cdp_session(finger.page)

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
    finger.page.wait_for_timeout(300)
    assert finger.out()["items"] == []
    finger.page.touchscreen.tap(x, y)
    (item,) = finger.items(1)
    assert math.dist(item["path_px"][0], PAD_AT) < 12  # the pad stayed between the fingers
    session.detach()


@pytest.mark.parametrize("query", ["", "?mark=4"])
@pytest.mark.parametrize("dark", [False, True])
def test_targets_are_large_and_nothing_scrolls_sideways(
    browser: Browser, bench: str, query: str, *, dark: bool
) -> None:
    made = Bench(browser, bench + "/" + query, touch=True, dark=dark)
    for name in () if query else ("Paint in", "Paint out", "Look and choose"):
        made.page.get_by_role("button", name=name, exact=True).tap()
        sizes = made.page.locator(".photo-view :is(button, select, input)").evaluate_all(
            "all => all.filter(e => e.offsetParent).map(e => [e.dataset.part || '', e.offsetWidth, e.offsetHeight])"
        )
        assert len(sizes) >= 7
        assert [s for s in sizes if min(s[1:]) < 44] == []
    wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert made.page.evaluate(wider) <= 0
    made.context.close()
    assert not made.troubles


def test_overlay_shows_each_finish_without_colour_and_can_be_faded(mouse: Bench) -> None:
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
    mouse.settle()
    assert spread(grey_of_pad()) < 3  # the bare photo: one colour
    mouse.page.get_by_label("Strength of the overlay").fill("100")
    textures = []
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    for name in ("hard gold", "immersion gold", "finish undetermined"):
        mouse.press(name)
        mouse.settle()
        textures.append(grey_of_pad())
    assert all(spread(t) > 12 for t in textures)
    assert len({round(spread(t), 1) for t in textures}) == 3


def test_begin_again_starts_with_an_empty_list(mouse: Bench) -> None:
    mouse.page.mouse.click(*mouse.at(*PAD_AT))
    mouse.press("No gold: leave out")
    mouse.items(1)
    mouse.press("Begin again")
    assert mouse.items(0) == []
    expect(mouse.page.get_by_role("button", name="Undo", exact=True)).to_be_disabled()


# --- marking


@pytest.fixture
def marking(browser: Browser, bench: str) -> Iterator[Bench]:
    made = Bench(browser, f"{bench}/?mark=4")
    yield made
    made.context.close()
    assert not made.troubles


CORNERS = ((540.0, 350.0), (660.0, 350.0), (660.0, 450.0), (540.0, 450.0))


def mark_all(bench: Bench) -> None:
    for corner in CORNERS:
        bench.page.mouse.click(*bench.at(*corner))


def test_clicks_set_the_points_in_order_however_fast(marking: Bench) -> None:
    mark_all(marking)
    marks = marking.until(lambda out: None not in out)
    for mark, corner in zip(marks, CORNERS, strict=True):
        assert math.dist(mark, corner) < 1.2 * marking.px_per_step()
    expect(marking.page.get_by_text("drag it, or use the arrow keys")).to_be_visible()


def test_a_point_is_dragged_and_nudged_by_a_pixel(marking: Bench) -> None:
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


def test_points_by_keys_alone(marking: Bench) -> None:
    marking.canvas.focus()
    keys = marking.page.keyboard
    keys.press("Enter")
    first = marking.until(lambda out: out[0] is not None)
    assert first[0] == pytest.approx([(WIDTH_PX - 1) / 2, (HEIGHT_PX - 1) / 2], abs=0.1)
    keys.press("ArrowLeft")
    keys.press("Enter")
    second = marking.until(lambda out: out[1] is not None)
    assert second[1][0] == pytest.approx(first[0][0] - 24 * marking.px_per_step(), abs=0.6)


def test_number_fields_and_picture_agree(marking: Bench) -> None:
    mark_all(marking)
    marking.until(lambda out: None not in out)
    field = marking.page.get_by_label("Corner 1, x px")
    field.fill("333")
    field.press("Enter")
    marking.until(lambda out: out[0][0] == 333)
    marking.canvas.focus()
    marking.page.get_by_role("button", name="Corner 1, at 333").wait_for()


def test_all_points_can_be_removed(marking: Bench) -> None:
    mark_all(marking)
    marking.until(lambda out: None not in out)
    marking.press("Remove all points")
    assert marking.until(lambda out: out == [None] * 4) == [None] * 4


def test_a_loupe_shows_the_pixels_under_the_pointer(marking: Bench) -> None:
    """Over the middle of the pad the loupe is filled with gold; over bare board it is green."""

    def loupe(place: tuple[float, float]) -> list[int]:
        marking.page.mouse.move(*marking.at(*place))
        marking.page.wait_for_timeout(400)
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
