"""The figures of the benchmark as tables."""

from __future__ import annotations

import platform
import statistics
from collections.abc import Iterable, Mapping, Sequence

from grader.benchmark.everything import LOT_BOARDS, Everything
from grader.benchmark.first_page import FirstPage
from grader.benchmark.steps import Timing

_HOW = (
    "In times of the photo's own decode, the two timed in turns in one process. Processor time counts all threads; "
    "a machine that others use too slows the clock, less so the ratio."
)
_STEPS = ("load", "scale", "coverage", "regions", "gold")


def lines(timing: Timing) -> list[str]:
    """The table of one photo: one line per step, in milliseconds and in multiples of the decode."""
    rows = [("decode alone", timing.decode_s), *timing.steps_s.items(), ("measure, all", timing.total_s)]
    table = [f"{name:<14}{1e3 * s:9.0f} ms {s / timing.decode_s:7.1f} x" for name, s in rows]
    return [*table, f"{'peak memory':<14}{timing.peak_mb:9.0f} MB"]


def document(found: Everything) -> str:
    """All tables, as Markdown."""
    photos = [*_rows(found.plated), _median("**median, plated**", found.plated.values())]
    photos += [*_rows(found.bare), _median("**median, bare**", found.bare.values())]
    sizes = [[f"{mp:g} megapixels", *_beyond(t)] for mp, t in found.sizes.items()]
    one = next(iter(found.plated))
    commands = [[_as_typed(name), f"{p.wall_s:.2f}", f"{p.cpu_s:.2f}"] for name, p in found.commands.items()]
    warm_s = found.plated[one].total_s
    cold = next(p for name, p in found.commands.items() if "measure" in name)
    commands.append(["the same beyond the warm time", f"{cold.wall_s - warm_s:.2f}", ""])
    commands.append([f"estimate and offer for {LOT_BOARDS:,} photographed boards, warm", f"{found.lot_s:.2f}", ""])
    commands += _of_page(found.page)
    written = (
        f"Written by `python -m grader.benchmark --write docs/speed.md` on {platform.machine()}, Python "
        f"{platform.python_version()}. Two threads; the least of several runs, but the median of the decodes."
    )
    return "\n".join(
        (
            "# How long it takes",
            "",
            written,
            "",
            "## Photos of 12 megapixels, warm",
            "",
            _HOW,
            "",
            *_table(("photo", "decode, ms", *_STEPS, "all", "all, processor time", "peak memory, MB"), photos),
            "",
            "## Size of the photo",
            "",
            f"`{one}` at three sizes, and as HEIC, whose decode is slower than a JPEG's.",
            "",
            *_table(
                ("size", "decode, ms", "all, ms", "beyond the load, ms", "times the decode", "peak memory, MB"),
                [*sizes, ["12 megapixels, HEIC", *_beyond(found.heic)]],
            ),
            "",
            "## Commands, as whole processes",
            "",
            *_table(("what", "seconds", "processor, seconds"), commands),
            "",
        )
    )


def _of_page(page: FirstPage | None) -> list[list[str]]:
    if page is None:
        return [["`grader page` to the first screen (not measured: no browser, or no Playwright, here)", "", ""]]
    return [
        ["`grader page` to its first answer", f"{page.answers_s:.2f}", ""],
        ["`grader page` to the first screen in an open browser", f"{page.drawn_s:.2f}", ""],
        ["a further window to its first screen", f"{page.next_s:.2f}", ""],
    ]


def _rows(photos: Mapping[str, Timing]) -> list[list[str]]:
    return [
        [
            name,
            f"{1e3 * t.decode_s:.0f}",
            *(f"{t.steps_s.get(step, 0) / t.decode_s:.1f}" for step in _STEPS),
            f"{t.ratio:.1f}",
            f"{t.cpu_s / t.decode_cpu_s:.1f}",
            f"{t.peak_mb:.0f}",
        ]
        for name, t in photos.items()
    ]


def _median(name: str, photos: Iterable[Timing]) -> list[str]:
    some = list(photos)
    ratio, cpu, peak = (
        statistics.median(values)
        for values in ([t.ratio for t in some], [t.cpu_s / t.decode_cpu_s for t in some], [t.peak_mb for t in some])
    )
    return [name, "", *("" for _ in _STEPS), f"**{ratio:.1f}**", f"{cpu:.1f}", f"{peak:.0f}"]


def _beyond(t: Timing) -> list[str]:
    beyond_s = t.total_s - t.steps_s["load"]
    return [f"{1e3 * s:.0f}" for s in (t.decode_s, t.total_s, beyond_s)] + [f"{t.ratio:.1f}", f"{t.peak_mb:.0f}"]


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return [f"| {' | '.join(cells)} |" for cells in (heads, ["---"] * len(heads), *rows)]


def _as_typed(name: str) -> str:
    """A command as inline code, followed by the remark about it."""
    typed, _, of = name.partition(", ")
    return f"`{typed}`" + (f" ({of})" if of else "")
