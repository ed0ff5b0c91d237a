"""A measurement as text for a person."""

from __future__ import annotations

from rich.markup import escape
from rich.table import Table

from calibration.errors import GraderError
from grader.budget import TOGETHER, budget
from grader.cli.output import out
from grader.measure import Measurement
from grader.model import FINISHES, ProductModel, Range
from grader.regions import Row
from grader.report.document import VISIBLE_ONLY
from grader.report.overlay import FINISH_WORDS
from grader.report.words import METHOD_WORDS
from grader.units import format_range, format_share

_MOST_LINES = 6
_SHOWN_SHARE = 0.005


def show_measurement(done: Measurement) -> None:
    """Print one measurement."""
    out.print(f"[bold]{escape(done.photo.name)}[/]  {done.photo.width_px} × {done.photo.height_px} px")
    if done.area is None or done.gold is None or done.scale is None:
        share = float(done.coverage.share.mean() / 255)
        out.print(f"Plated share of the frame: {format_share(share)} (no scale, so no area and no gold)")
    else:
        method = METHOD_WORDS[done.scale.method]
        out.print(f"Scale from {method}: {done.scale.px_per_mm:.1f} px per mm")
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
        for column in ("", "plated area", "gold"):
            table.add_column(column)
        for finish in FINISHES:
            if finish in done.area.by_finish:
                area, gold = done.area.by_finish[finish], done.gold.by_finish[finish]
                table.add_row(FINISH_WORDS[finish], _text(area, "mm²"), _text(gold, "mg"))
        table.add_row("together", _text(done.area.total, "mm²"), _text(done.gold.total, "mg"), style="bold")
        out.print(table, soft_wrap=False)
        _show_budget(done.gold.total)
    for row in done.regions.rows:
        _show_row(row, with_scale=done.scale is not None)
    for item in done.notices:
        out.print(f"[yellow]{escape(item.message)}[/]")
        out.print(f"  → {escape(item.advice)}")
    out.print(f"[dim]{VISIBLE_ONLY}[/]")


def show_summary(rows: list[tuple[str, Measurement | GraderError]]) -> None:
    """Print a table of many photos, and below it what failed and why."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in ("photo", "plated area", "gold"):
        table.add_column(column)
    failed: list[tuple[str, GraderError]] = []
    for name, result in rows:
        if isinstance(result, GraderError):
            failed.append((name, result))
            table.add_row(escape(name), "not measured", "")
        elif result.area is None or result.gold is None:
            if result.refused is not None:
                failed.append((name, result.refused))
            table.add_row(escape(name), "no scale", "")
        else:
            table.add_row(escape(name), _text(result.area.total, "mm²"), _text(result.gold.total, "mg"))
    out.print(table, soft_wrap=False)
    for name, error in failed:
        out.print(f"[bold red]{escape(name)}[/]: {escape(error.message)}")
        out.print(f"  → {escape(error.advice)}")
    out.print(f"[dim]{VISIBLE_ONLY}[/]")


def _text(model: ProductModel, unit: str) -> str:
    return format_range(Range.of(model.draws()), unit) if model.terms else f"0 {unit}"


def _show_budget(gold: ProductModel) -> None:
    lines = [b for b in budget(gold) if b.share_of_variance >= _SHOWN_SHARE][:_MOST_LINES]
    if not lines:
        return
    out.print("What makes the gold's range wide:")
    for line in lines:
        title = "several of them together" if line.input == TOGETHER else line.title
        out.print(f"  {format_share(line.share_of_variance):>6}  {escape(title)}")


def _show_row(row: Row, *, with_scale: bool) -> None:
    text = f"Row of {row.count} contacts"
    if with_scale:
        text += f", {row.contact_width:.2f} × {row.contact_length:.2f} mm"
        text += f", pitch {row.pitch:.2f} mm" if row.pitch else ""
    out.print(text + (", at the board's edge" if row.at_edge else ""))
