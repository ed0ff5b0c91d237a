"""The log's entries as tables of text, for the command line and the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from calibration.errors import DataFileError
from grader.log.model import Contents, Estimate, Yield
from grader.log.money_model import MoneyEntry, Purchase
from grader.table import Table
from grader.units import MassUnit, format_mass, format_money, format_range, format_share


def lots_table(contents: Contents, liked: MassUnit = "auto") -> Table:
    """One line per lot; gold in the preferred unit."""
    latest = contents.latest_estimates()
    current = contents.current_yields()
    lots_of = {y.id: {s.lot_id for s in contents.yield_lots if s.yield_id == y.id} for y in current}
    return Table(
        ("No.", "Lot", "Seller", "Boards", "Started", "Photos", "Paid", "Gold weighed"),
        tuple(
            (
                str(lot.id),
                lot.name,
                lot.seller,
                lot.part,
                lot.created_at.date().isoformat(),
                str(sum(e.lot_id == lot.id for e in latest)),
                "; ".join(_paid(p) for p in contents.current_purchases() if p.lot_id == lot.id),
                "; ".join(
                    weighed_text(y, liked) + (" with other lots" if len(lots_of[y.id]) > 1 else "")
                    for y in current
                    if lot.id in lots_of[y.id]
                ),
            )
            for lot in contents.lots
        ),
        "Lots",
    )


def entry_tables(contents: Contents, liked: MassUnit = "auto") -> tuple[Table, ...]:
    """All entries by kind, gold in the preferred unit, without empty kinds."""
    latest = {e.id for e in contents.latest_estimates()}
    names = {photo.sha256: photo.name for photo in contents.photos}
    lots = {lot.id for lot in contents.lots}
    tables = (
        Table(
            ("Made", "Photo", "Plated area", "Gold in the visible plating", "Counts"),
            tuple(
                (
                    e.made_at.date().isoformat(),
                    names[e.photo_sha256],
                    *_figures(e, liked),
                    "yes" if e.id in latest else "no, measured again",
                )
                for e in contents.estimates
            ),
            "Estimates as made",
        ),
        Table(
            ("Made", "Highest price worth paying"),
            tuple((o.made_at.date().isoformat(), _highest(o.document)) for o in contents.offers),
            "Offers as made",
        ),
        Table(
            ("No.", "Day", "Paid", "Mass", "Boards", "Note", "Counts"),
            tuple(
                (
                    str(p.id),
                    p.bought_on.isoformat(),
                    _paid(p),
                    "" if p.mass_g is None else format_mass(p.mass_g * 1e3),
                    "" if p.count is None else str(p.count),
                    p.note,
                    _replaced(p, contents.purchases),
                )
                for p in contents.purchases
                if p.lot_id in lots
            ),
            "Purchases",
        ),
        Table(
            ("No.", "Day", "Kind", "What", "Amount", "Charges", "Gold delivered", "Note", "Counts"),
            tuple(
                (
                    str(m.id),
                    m.day.isoformat(),
                    m.kind,
                    m.what,
                    format_money(m.amount, m.currency),
                    format_money(m.charges, m.currency) if m.charges else "",
                    "" if m.gold_mg is None else format_mass(m.gold_mg, liked=liked),
                    m.note,
                    _replaced(m, contents.money),
                )
                for m in contents.money
                if m.lot_id in lots
            ),
            "Costs, sales and settlements",
        ),
        Table(
            ("No.", "Day", "Gold weighed", "Fineness", "Note", "Counts"),
            tuple(
                (
                    str(y.id),
                    y.weighed_on.isoformat(),
                    weighed_text(y, liked),
                    _fineness(y),
                    y.note,
                    _counts(contents, y),
                )
                for y in contents.yields
            ),
            "Yields",
        ),
    )
    return tuple(table for table in tables if table.rows)


def _counts(contents: Contents, gold: Yield) -> str:
    newer = next((y for y in contents.yields if y.corrects == gold.id), None)
    if newer is not None:
        return f"no, corrected by {newer.id}: {newer.reason}"
    excluded = contents.excluded().get(gold.id)
    return "yes" if excluded is None else f"not learned from: {excluded.reason}"


def _replaced(entry: Purchase | MoneyEntry, entries: Sequence[Purchase | MoneyEntry]) -> str:
    newer = next((e for e in entries if e.corrects == entry.id), None)
    return "yes" if newer is None else f"no, corrected by {newer.id}: {newer.reason}"


def _paid(purchase: Purchase) -> str:
    return format_money(purchase.price, purchase.currency)


def weighed_text(gold: Yield, liked: MassUnit = "auto") -> str:
    """The gold of a yield, as weighed."""
    return format_mass(gold.mass_mg, gold.uncertainty_mg or 0.0, liked)


def _fineness(gold: Yield) -> str:
    return "" if gold.fineness is None else f"{format_share(gold.fineness)} ({gold.fineness_known})"


def _figures(estimate: Estimate, liked: MassUnit) -> tuple[str, str]:
    """Estimated plated area and gold; empty if the measurement cannot be read or has no scale."""
    try:
        shown = estimate.measured.plated_area_mm2, estimate.measured.gold_mg
    except DataFileError:
        return "", ""
    area, gold = (
        "" if value is None else format_range(value, unit, liked)
        for value, unit in zip(shown, ("mm²", "mg"), strict=True)
    )
    return area, gold


def _highest(document: Mapping[str, Any]) -> str:
    highest = document.get("highest_price")
    return f"{highest['price']:.2f} {document.get('currency', '')}" if isinstance(highest, Mapping) else ""
