"""A batch plan as sentences, tables and data, the same on paper, terminal and page."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from calibration.sourced import source_words
from grader.batch.figures import UNITS
from grader.batch.model import BatchPlan, GasGivenOff
from grader.batch.notices import FLOORS, NOT_IN_IT
from grader.batch.shopping import shopping, shopping_table
from grader.cautions import documents_for
from grader.model import Range
from grader.table import Table
from grader.units import MassUnit, format_money, format_range, format_share, in_digits, round_to

HEADING = "What the batch needs"
STAGE_WORDS = {
    "strip": "stripping base metal",
    "rinse": "rinsing",
    "gold": "dissolving gold",
    "denitration": "removing nitric acid",
    "precipitation": "precipitating gold",
}
STATEMENTS = (FLOORS, NOT_IN_IT)


def batch_lines(plan: BatchPlan, liked: MassUnit = "auto") -> list[str]:
    """The plan in sentences, gold in the unit that is liked."""
    gold = format_range(plan.gold_mg, "mg", liked)
    loads, *rest = batch_in_short(plan)
    return [
        loads,
        f"Pieces: {format_range(plan.mass_g, 'g')}. Plated: {format_range(plan.plated_cm2, 'cm²')}. Gold: {gold}.",
        f"Dissolves: copper {format_range(plan.copper_g, 'g')}, nickel {format_range(plan.nickel_g, 'g')}.",
        _air_line(plan),
        _nitric_line(plan),
        *rest,
    ]


def batch_in_short(plan: BatchPlan) -> list[str]:
    """Its loads, time and costs alone."""
    loads = "load" if plan.loads.high == 1 else "loads"
    pieces, liquor = _middle(plan.pieces_per_load_g), _middle(plan.liquor_per_load_ml)
    per_gram = format_range(plan.cost_per_gram, plan.currency)
    vessel = f"{in_digits(plan.vessels.volume_ml, 6)} ml"
    return [
        f"{_count(plan.loads)} vessel {loads} of {vessel}, {pieces} g of pieces in {liquor} ml each.",
        f"Time: {format_range(plan.time.days, 'days')}; own work {format_range(plan.time.hours, 'h')}.",
        f"Costs: {format_range(plan.total_cost, plan.currency)}; for each gram of gold {per_gram}.",
    ]


def _air_line(plan: BatchPlan) -> str:
    ox = plan.oxidation
    most = (
        f"All copper and nickel here take at least {_middle(ox.peroxide_needed_ml)} ml of the peroxide if air does "
        f"nothing. The peroxide planned oxidises at most {_middle(ox.peroxide_alone_g)} g of copper"
    )
    if ox.air_l.high <= 0:
        return f"{most}: enough without air."
    low, high = (format_share(x) for x in (ox.share_by_peroxide.low, ox.share_by_peroxide.high))
    return (
        f"{most}, likely {low} to {high} of what dissolves here; the rest takes the oxygen of at least "
        f"{format_range(ox.air_l, 'l')} of air."
    )


def _nitric_line(plan: BatchPlan) -> str:
    nitric, sulfamic = plan.amount("nitric"), plan.amount("sulfamic")
    gold = "" if nitric.floor is None else f", of which the gold uses up {_middle(nitric.floor)} ml at the least"
    eaten, planned = _middle(plan.nitric_as_metabisulfite_g), _middle(sulfamic.planned)
    return (
        f"Nitric acid: {_middle(nitric.planned)} ml{gold}. What is left over keeps gold in solution and would use up "
        f"{eaten} g of metabisulfite; {planned} g of sulfamic acid are planned to destroy it. Gold comes down only "
        "when none is left."
    )


def plan_tables(plan: BatchPlan) -> tuple[Table, ...]:
    """The plan as tables: what to have ready, reagents, costs, gases, waste."""
    tables = (
        shopping_table(plan),
        Table(
            ("", "Planned", "A load", "Floor by the reaction"),
            tuple(
                (
                    a.title,
                    _range(a.planned, a.unit),
                    "" if a.per_load is None or not a.unit else f"{_middle(a.per_load)} {a.unit}",
                    "" if a.floor is None else f"{_middle(a.floor)} {a.unit}",
                )
                for a in plan.amounts
            ),
            "Reagents for the whole batch",
        ),
        Table(
            ("", "In 90 of 100 cases", "Price"),
            tuple(
                (c.title, _money(c.amount, plan.currency), "example" if c.example else "yours") for c in plan.costs
            ),
            "Costs",
        ),
        Table(
            ("Gas", "While", "At most", "Strictest limit", "Air to thin it", "How it comes"),
            tuple(_gas_row(g) for g in plan.gases),
            "Gas given off, and the air that thins it to the exposure limit",
        ),
        Table(
            ("", "Amount", "What it is"),
            tuple((w.title, _range(w.amount, w.unit), w.keep_apart) for w in plan.waste if w.amount.high > 0),
            "Waste by kind",
        ),
    )
    return tuple(t for t in tables if t.rows)


def assumed_table(plan: BatchPlan) -> Table:
    """The figures of the process, with their sources; shipped examples are marked."""
    rows = []
    for key, given in plan.process.figures.items():
        low, high = given.distribution.support
        factor, unit = (100.0, "%") if key in _SHARES else (1.0, given.unit)
        ends = " to ".join(dict.fromkeys(in_digits(x * factor, 4) for x in (low, high)))
        rows.append(
            (
                given.title,
                f"{ends} {unit}".strip(),
                "example" if key in plan.process.examples else "",
                source_words(given.source),
            )
        )
    return Table(
        ("", "Range", "", "Source"),
        tuple(rows),
        f"Figures of the process ({plan.process.name})",
    )


_SHARES = tuple(key for key, unit in UNITS.items() if unit == "share")


def _gas_row(g: GasGivenOff) -> tuple[str, ...]:
    least = "" if g.at_least_g is None else f"{_middle(g.at_least_g)} to "
    return (
        f"{g.limit.name} ({g.gas})",
        STAGE_WORDS[g.stage],
        f"{least}{_middle(g.at_most_g)} g",
        f"{in_digits(g.limit.ppm, 6)} ppm ({g.limit.body}, {g.limit.kind})",
        f"{_middle(g.air_m3)} m³",
        g.why,
    )


def _money(r: Range, currency: str) -> str:
    if r.high < 0.005:
        return f"under 0.01 {currency}"
    low, high = (format_money(x, currency, (r.high - r.low) / 2) for x in (r.low, r.high))
    return high if low == high else f"{low} to {high}"


def _range(r: Range, unit: str) -> str:
    if not unit:
        return _count(Range(float(round(r.value)), float(round(r.low)), float(round(r.high))))
    return format_range(r, unit)


def _middle(r: Range) -> str:
    return round_to(r.value, (r.high - r.low) / 2)


def _count(r: Range) -> str:
    """A range of whole numbers: "2", "1 to 2"."""
    return f"{r.low:.0f} to {r.high:.0f}" if r.low < r.high else f"{r.value:.0f}"


def batch_document(plan: BatchPlan) -> dict[str, Any]:
    """The plan as a JSON object; the cautions are in it."""
    ox = plan.oxidation
    return {
        "schema": 1,
        "loads": plan.loads.as_json(),
        "vessel_ml": plan.vessels.volume_ml,
        "vessels": plan.vessels.count,
        "liquor_per_load_ml": plan.liquor_per_load_ml.as_json(),
        "pieces_per_load_g": plan.pieces_per_load_g.as_json(),
        "mass_g": plan.mass_g.as_json(),
        "plated_cm2": plan.plated_cm2.as_json(),
        "gold_mg": plan.gold_mg.as_json(),
        "copper_g": plan.copper_g.as_json(),
        "nickel_g": plan.nickel_g.as_json(),
        "amounts": {
            a.key: {
                "title": a.title,
                "stage": a.stage,
                "unit": a.unit,
                "planned": a.planned.as_json(),
                "to_have": a.to_have,
                "floor": None if a.floor is None else a.floor.as_json(),
                "chance_below_floor": a.chance_below_floor,
                "per_load": None if a.per_load is None else a.per_load.as_json(),
            }
            for a in plan.amounts
        },
        "oxidation": {
            "copper_by_peroxide_alone_g": ox.peroxide_alone_g.as_json(),
            "peroxide_needed_without_air_ml": ox.peroxide_needed_ml.as_json(),
            "share_by_peroxide": ox.share_by_peroxide.as_json(),
            "air_l": ox.air_l.as_json(),
        },
        "nitric_as_metabisulfite_g": plan.nitric_as_metabisulfite_g.as_json(),
        "gases": [_gas_document(g) for g in plan.gases],
        "waste": {
            w.key: {"title": w.title, "unit": w.unit, "amount": w.amount.as_json(), "keep_apart": w.keep_apart}
            for w in plan.waste
        },
        "rinse_water": None
        if plan.rinse_water is None
        else {
            "copper_mg_l": plan.rinse_water.copper_mg_l.as_json(),
            "ph": plan.rinse_water.ph.as_json(),
            "chance_not_clean": plan.rinse_water.chance_not_clean,
        },
        "time": {"days": plan.time.days.as_json(), "hours": plan.time.hours.as_json()},
        "currency": plan.currency,
        "costs": {c.key: {"title": c.title, "amount": c.amount.as_json(), "example": c.example} for c in plan.costs},
        "total_cost": plan.total_cost.as_json(),
        "cost_per_gram_of_gold": plan.cost_per_gram.as_json(),
        "shopping": [asdict(each) for each in shopping(plan)],
        "lines": batch_lines(plan),
        "tables": [{"title": t.title, "columns": t.columns, "rows": t.rows} for t in plan_tables(plan)],
        "process": {"name": plan.process.name, "figures": [i.as_json() for i in plan.process.figures.values()]},
        "statements": list(STATEMENTS),
        "warnings": [n.as_json() for n in plan.notices],
        "cautions": documents_for("batch"),
    }


def _gas_document(g: GasGivenOff) -> dict[str, Any]:
    return {
        "gas": g.gas,
        "stage": g.stage,
        "why": g.why,
        "at_least_g": None if g.at_least_g is None else g.at_least_g.as_json(),
        "at_most_g": g.at_most_g.as_json(),
        "limit": {"ppm": g.limit.ppm, "kind": g.limit.kind, "body": g.limit.body, "source": g.limit.source},
        "air_m3": g.air_m3.as_json(),
    }
