"""The log for a person at a terminal, and as tab-separated lines in a pipe."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from rich import box
from rich.markup import escape
from rich.table import Table

from grader.cli.output import out
from grader.log import Contents, Purchase, Yield
from grader.model import Range
from grader.units import format_mass, format_range, format_share


def show_lots(contents: Contents) -> None:
    """One line a lot."""
    latest = contents.latest_estimates()
    _show(
        ("No.", "Lot", "Seller", "Started", "Photos", "Paid", "Gold weighed"),
        (
            (
                str(lot.id),
                lot.name,
                lot.seller,
                lot.created_at.date().isoformat(),
                str(sum(e.lot_id == lot.id for e in latest)),
                "; ".join(_paid(p) for p in contents.purchases if p.lot_id == lot.id),
                "; ".join(_weighed(y) for y in contents.yields if y.lot_id == lot.id),
            )
            for lot in contents.lots
        ),
    )


def show_contents(contents: Contents) -> None:
    """All entries of one lot."""
    lot = contents.lots[0]
    about = "".join(f"  {label}: {text}" for label, text in (("seller", lot.seller), ("note", lot.note)) if text)
    out.print(f"[bold]Lot {lot.id}, {escape(lot.name)}[/]{escape(about)}")
    latest = {e.id for e in contents.latest_estimates()}
    names = {photo.sha256: photo.name for photo in contents.photos}
    sections: tuple[tuple[str, Sequence[str], list[tuple[str, ...]]], ...] = (
        (
            "Estimates as made",
            ("Made", "Photo", "Plated area", "Gold in the visible plating", "Counts"),
            [
                (
                    e.made_at.date().isoformat(),
                    names[e.photo_sha256],
                    _range(e.document, "plated_area_mm2", "mm²"),
                    _range(e.document, "gold_mg", "mg"),
                    "yes" if e.id in latest else "no, measured again",
                )
                for e in contents.estimates
            ],
        ),
        (
            "Offers as made",
            ("Made", "Highest price worth paying"),
            [(o.made_at.date().isoformat(), _highest(o.document)) for o in contents.offers],
        ),
        (
            "Purchases",
            ("Day", "Paid", "Mass", "Boards"),
            [
                (
                    p.bought_on.isoformat(),
                    _paid(p),
                    "" if p.mass_g is None else format_mass(p.mass_g * 1e3),
                    "" if p.count is None else str(p.count),
                )
                for p in contents.purchases
            ],
        ),
        (
            "Yields",
            ("Day", "Gold weighed", "Fineness", "Note"),
            [(y.weighed_on.isoformat(), _weighed(y), _fineness(y), y.note) for y in contents.yields],
        ),
    )
    for title, columns, rows in sections:
        if rows:
            out.print(f"\n[bold]{title}[/]")
            _show(columns, rows)


def _show(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    if not out.is_terminal:
        for row in (columns, *rows):
            out.file.write("\t".join(row) + "\n")  # printing would turn tabs into spaces
        return
    table = Table(*columns, box=box.SIMPLE_HEAD, pad_edge=False)
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    out.print(table, soft_wrap=False)


def _paid(purchase: Purchase) -> str:
    return f"{purchase.price:f} {purchase.currency}"


def _weighed(gold: Yield) -> str:
    return format_mass(gold.mass_mg, gold.uncertainty_mg or 0.0)


def _fineness(gold: Yield) -> str:
    return "" if gold.fineness is None else f"{format_share(gold.fineness)} ({gold.fineness_known})"


def _range(document: Mapping[str, Any], name: str, unit: str) -> str:
    given = document.get(name)
    if not isinstance(given, Mapping) or not {"value", "low", "high", "level"} <= set(given):
        return ""
    return format_range(Range(*(float(given[part]) for part in ("value", "low", "high", "level"))), unit)


def _highest(document: Mapping[str, Any]) -> str:
    highest = document.get("highest_price")
    return f"{highest['price']:.2f} {document.get('currency', '')}" if isinstance(highest, Mapping) else ""
