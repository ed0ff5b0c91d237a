"""Assumptions from a TOML file: the shipped examples, or a person's own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

from calibration.distributions import Distribution
from calibration.errors import DataFileError, UsageError
from calibration.inputs import Input
from calibration.packaged import packaged_text
from calibration.reading import parse_toml, read_text
from grader.units import parse_price_per_mass, parse_share, parse_weeks
from grader.units.estimates import amount_estimate, planned_text, share_estimate
from grader.valuation.charges import Charge, Cost, own_hours
from grader.valuation.entries import WHATS, Interest, Sale, Spot, drift_until_sale, interest_input
from grader.valuation.kinds import KINDS
from grader.valuation.model import DEFAULT_ACCEPTED_LOSS, Assumptions
from grader.valuation.tables import FILE, AssumptionsTable

_SHARES = {
    "payable": "share of the gold price that is paid",
    "recovery": "share of the gold that is recovered",
    "fee": "fee on the price",
    "tax": "tax on the price",
}
_TOP = frozenset(
    {
        "currency",
        "accepted_loss",
        "as_of",
        "spot",
        "drift",
        "interest",
        "sale",
        *_SHARES,
        *(kind.table for kind in KINDS),
    }
)


def load_assumptions(path: Path | None = None) -> Assumptions:
    """The assumptions of a file, or the shipped examples (which have no gold price) for None.

    Raises:
        DataFileError: the file cannot be read, is not TOML, or an entry does not say what it must; the message names
            the file and the entry.
        UsageError: the entries contradict each other, as in ``Assumptions``.
    """
    if path is None:
        return _parse(example_text(), "example_assumptions.toml", examples=True)
    return _parse(read_text(path, FILE), path.name, examples=False)


def example_text() -> str:
    """The shipped example file, for copying and editing."""
    return packaged_text("grader.valuation", "data/example_assumptions.toml")


def _parse(text: str, name: str, *, examples: bool) -> Assumptions:
    top = AssumptionsTable(parse_toml(text, name, FILE), name)
    top.only(_TOP)
    try:
        return _build(top, examples=examples)
    except DataFileError:
        raise
    except UsageError as error:
        raise DataFileError.of(error, f"{name}: {error.message}") from error


def _build(top: AssumptionsTable, *, examples: bool) -> Assumptions:
    shares = {key: _share(top, key) for key in _SHARES}
    charges = tuple(charge for kind in KINDS for charge in _charges(top, kind))
    built = Assumptions(
        currency=top.text("currency"),
        charges=charges,
        accepted_loss=parse_share(top.text("accepted_loss")) if "accepted_loss" in top else DEFAULT_ACCEPTED_LOSS,
        spot=_spot(top.table("spot")) if "spot" in top else None,
        drift=_drift(top.table("drift")) if "drift" in top else None,
        weeks=_weeks(top.table("drift")) if "drift" in top else None,
        weeks_after_plan=_weeks_after_plan(top.table("drift")) if "drift" in top else None,
        interest=_interest(top.table("interest")) if "interest" in top else None,
        sales=tuple(_sale(table) for table in top.tables("sale")),
        payable=shares["payable"],
        recovery=shares["recovery"],
        fee=shares["fee"],
        tax=shares["tax"],
    )
    return replace(built, examples=frozenset(i.name for i in built.inputs())) if examples else built


def _charges(top: AssumptionsTable, kind: type[Charge]) -> list[Charge]:
    if kind.is_list:
        return [kind.read(table) for table in top.tables(kind.table)]
    return [kind.read(top.table(kind.table))] if kind.table in top else []


def _share(top: AssumptionsTable, key: str) -> Input:
    if key in ("fee", "tax") and key not in top:
        return Input(key, _SHARES[key], Distribution("constant", (0.0,)), f"left out of {top.file}")
    table = top.table(key)
    table.only({"title", "estimate", "source"})
    known = share_estimate(table.text("estimate", key))
    return Input(key, table.title(_SHARES[key]), known, table.source)


def _drift(table: AssumptionsTable) -> Input:
    table.only({"weeks", "volatility", "source", "after_plan"})
    volatility = parse_share(table.text("volatility", "drift"))
    return drift_until_sale(_weeks(table), volatility, table.source)


def _weeks(table: AssumptionsTable) -> float:
    return parse_weeks(planned_text(table.text("weeks", "drift"))[1])


def _weeks_after_plan(table: AssumptionsTable) -> float | None:
    planned, _ = planned_text(table.text("weeks", "drift"))
    return parse_weeks(table.text("after_plan", "drift")) if planned else None


def _interest(table: AssumptionsTable) -> Interest:
    table.only({"rate", "at_once", "rest", "source"})
    rate = interest_input(share_estimate(table.text("rate", "interest")), table.source)
    at_once = parse_share(table.text("at_once", "interest")) if "at_once" in table else 1.0
    return Interest(rate, at_once, parse_weeks(table.text("rest", "interest")) if "rest" in table else 0.0)


def _sale(table: AssumptionsTable) -> Sale:
    table.only({"name", "title", "of", "price", "pays", "share", "cost", "hours", "source"})
    key = table.text("name", "sale")
    of, source = f"sale {key}", table.source
    sold = table.data.get("of")
    if sold is not None and sold not in WHATS:
        raise table.invalid(f"{of} must be of {', '.join(WHATS)}")
    hours, planned = None, False
    if "hours" in table:
        text = table.text("hours", of)
        hours, planned = own_hours(f"own hours ({key})", text, source, (key,)), planned_text(text)[0]
    by_gold = "pays" in table
    if by_gold and ("price" in table or sold != "pieces"):
        raise table.invalid(f"{of}: only pieces are paid by their gold, and then have no price by weight")
    return Sale(
        key,
        table.title(key),
        None if by_gold else sale_price(key, table.text("price", of), source),
        sale_share(key, table.text("share", of), source) if "share" in table else None,
        tuple(Cost.read(cost, (key,)) for cost in table.tables(Cost.table)),
        hours,
        sold,
        sale_pays(key, table.text("pays", of), source) if by_gold else None,
        planned,
    )


def sale_pays(key: str, text: str, source: str) -> Input:
    """The share of the worth of their gold that is paid for pieces, from "40..60..75 %".

    Raises:
        UsageError: as ``share_estimate``.
    """
    title = f"share of the worth of their gold that is paid for pieces ({key})"
    return Input("pays", title, share_estimate(text), source, of=(key,))


def sale_price(key: str, text: str, source: str) -> Input:
    """A price by weight from "40..90 USD/kg".

    Raises:
        UsageError: ``unit-wrong-kind`` where it is not per mass, or as ``amount_estimate``.
    """
    price, unit = amount_estimate(text)
    if not unit.endswith("/kg"):
        raise UsageError("unit-wrong-kind", f"'{text}' is not a price by weight.", "Write it as '60 USD/kg'.")
    return Input("price", f"price by weight ({key})", price, source, unit, of=(key,))


def sale_share(key: str, text: str, source: str) -> Input:
    """The share of the boards' mass that is sold, from "4..8..15 %".

    Raises:
        UsageError: as ``share_estimate``.
    """
    return Input("share", f"share of the boards' mass that is sold ({key})", share_estimate(text), source, of=(key,))


def _spot(table: AssumptionsTable) -> Spot:
    table.only({"price", "date", "source"})
    on = table.data.get("date")
    if not isinstance(on, date) or isinstance(on, datetime):
        raise table.invalid("the gold price needs its date, such as date = 2026-11-20")
    return Spot.of(parse_price_per_mass(table.text("price", "spot")), on, table.source)
