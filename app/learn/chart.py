"""Charts of what was learned: thickness before and now, estimated against weighed, calibration curve."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from app.common.chart import draw_chart
from calibration.belief import Shift
from calibration.finishes import FINISH_WORDS
from grader.learn import CurvePoint, YieldBesideEstimate
from grader.units import format_share

# Blue and orange of one lightness, told apart by colour-blind eyes too, on light and dark ground.
_BLUE, _ORANGE = "#2f7fc1", "#d9822b"
_BEFORE, _NOW = "before anything was weighed", "now"
_COLOURS = alt.Scale(domain=[_BEFORE, _NOW], range=[_ORANGE, _BLUE])
_SIDES = alt.Scale(domain=["in range", "outside"], range=[_BLUE, _ORANGE])


def show_shifts(shifts: Sequence[Shift]) -> None:
    """Chart ranges of effective thickness by finish, before and now."""
    rows = [
        {"what": f"{FINISH_WORDS[s.finish]}, {short}", "when": when, "low": low, "middle": middle, "high": high}
        for s in shifts
        for short, when, (low, middle, high) in (("before", _BEFORE, s.before), ("now", _NOW, s.now))
    ]
    base = alt.Chart(_data(rows)).encode(
        y=alt.Y("what:N", title=None, sort=None, axis=alt.Axis(labelLimit=160)),
        color=alt.Color("when:N", scale=_COLOURS, title=None, legend=None),
        tooltip=[alt.Tooltip(f"{name}:Q", format=".2g") for name in ("low", "middle", "high")],
    )
    x = alt.X("low:Q", title="Effective thickness, µm", scale=alt.Scale(type="log", nice=False))
    bars = base.mark_bar(height=10, opacity=0.6).encode(x=x, x2="high:Q")
    dots = base.mark_point(filled=True, size=80, opacity=1).encode(x="middle:Q")
    draw_chart((bars + dots).properties(height=45 * len(rows) + 40))


def show_pairs(pairs: Sequence[YieldBesideEstimate]) -> None:
    """Chart weighed against estimated gold with 90 % ranges; on the line they agree."""
    rows = [
        {
            "estimated": p.estimate_mg.value,
            "low": max(p.estimate_mg.low, p.estimate_mg.value / 1000),
            "high": p.estimate_mg.high,
            "weighed": p.fine_mg,
            "what": "in range" if p.inside else "outside",
            "lots": ", ".join(p.lots),
        }
        for p in pairs
        if p.counts and p.estimate_mg is not None and p.estimate_mg.value > 0 and p.fine_mg > 0
    ]
    if not rows:
        return
    least = min(min(float(r["low"]), float(r["weighed"])) for r in rows)
    most = max(max(float(r["high"]), float(r["weighed"])) for r in rows)
    log = alt.Scale(type="log", domain=[least / 1.2, most * 1.2], nice=False)
    x = alt.X("weighed:Q", title="Fine gold weighed, mg", scale=log)
    colour = alt.Color("what:N", scale=_SIDES, title=None, legend=alt.Legend(orient="top"))
    tooltip: list[Any] = [
        "lots:N",
        *(alt.Tooltip(f"{name}:Q", format=".3g") for name in ("estimated", "low", "high", "weighed")),
    ]
    base = alt.Chart(_data(rows)).encode(x=x, color=colour, tooltip=tooltip)
    ranges = base.mark_rule(strokeWidth=2).encode(
        y=alt.Y("low:Q", title="Estimated before, mg", scale=log), y2="high:Q"
    )
    dots = base.mark_point(filled=True, size=60, opacity=1).encode(y="estimated:Q")
    same: list[dict[str, Any]] = [{"at": least / 1.2}, {"at": most * 1.2}]
    line = alt.Chart(_data(same)).mark_line(strokeDash=[4, 4]).encode(x="at:Q", y="at:Q")
    draw_chart((ranges + dots + line).properties(height=360))


def show_calibration(curve: Sequence[CurvePoint]) -> None:
    """Chart how often ranges of each level contained the weighed gold; on the line, as often as they claim."""
    rows = [
        {
            "level": s.level,
            "seen": s.coverage.value,
            "low": s.coverage.low,
            "high": s.coverage.high,
            "text": f"{format_share(s.coverage.value)} of {s.coverage.cases}",
        }
        for s in curve
    ]
    unit = alt.Scale(domain=[0, 1])
    x = alt.X("level:Q", title="Ranges that should hold this share", scale=unit, axis=alt.Axis(format="%"))
    base = alt.Chart(_data(rows)).encode(x=x, tooltip=["text:N"])
    doubt = base.mark_area(opacity=0.25, color=_BLUE).encode(
        y=alt.Y("low:Q", title="Share that they held", scale=unit, axis=alt.Axis(format="%")), y2="high:Q"
    )
    line = base.mark_line(color=_BLUE, strokeWidth=3, point=True).encode(y="seen:Q")
    ideal = alt.Chart(_data([{"at": 0}, {"at": 1}])).mark_line(strokeDash=[4, 4]).encode(x="at:Q", y="at:Q")
    draw_chart((doubt + line + ideal).properties(height=320))


def _data(rows: Sequence[dict[str, Any]]) -> Any:
    return alt.Data(values=rows)  # type: ignore[no-untyped-call]
