"""Batches as tables of text, for the command line and the page."""

from __future__ import annotations

from grader.log.batch_model import BatchAmount, CarryOver, Struck
from grader.log.model import Contents
from grader.log.tables import weighed_text
from grader.table import Table
from grader.units import MassUnit, format_mass, in_digits


def batches_table(contents: Contents, liked: MassUnit = "auto") -> Table:
    """One line per batch; gold in the preferred unit."""
    records = contents.batches
    return Table(
        ("No.", "Batch", "Started", "Loads", "Lots", "Gold weighed", "Carried over"),
        tuple(
            (
                str(b.id),
                b.name,
                b.started_on.isoformat(),
                str(len(records.current_loads(b.id))),
                ", ".join(_lots(contents, records.lots_in(b.id))),
                "; ".join(weighed_text(y, liked) for y in contents.current_yields() if contents.batch_of(y) == b.id),
                "; ".join(_carried(contents, c) for c in records.current_carry_overs() if c.batch_id == b.id),
            )
            for b in records.batches
        ),
        "Batches",
    )


def waiting_table(contents: Contents, liked: MassUnit = "auto") -> Table:
    """Boards waiting for a later batch; gold in the preferred unit."""
    return Table(
        ("Carry-over", "Boards", "Gold left"),
        tuple((str(c.id), _carried(contents, c), _left(c, liked)) for c in contents.batches.waiting()),
        "Boards that wait for a later batch",
    )


def batch_tables(contents: Contents, batch_id: int) -> tuple[Table, ...]:
    """All entries of a batch by kind, without empty kinds."""
    records = contents.batches
    names = {b.id: b.name for b in records.batches}
    struck = {s.kind: records.struck(s.kind) for s in records.strikes}
    reasons = {(s.kind, s.entry_id): s.reason for s in records.strikes}

    def counts(kind: Struck, number: int) -> str:
        return f"no: {reasons[kind, number]}" if number in struck.get(kind, ()) else "yes"

    loads = tuple(
        (
            str(x.id),
            x.loaded_on.isoformat(),
            x.vessel,
            "" if x.mass_g is None else format_mass(x.mass_g * 1e3),
            ", ".join(
                [
                    *_lots(contents, {y.lot_id: y.copies for y in records.load_lots if y.load_id == x.id}),
                    *(f"carry-over {y.carry_id}" for y in records.load_carried if y.load_id == x.id),
                ]
            ),
            counts("load", x.id),
        )
        for x in records.loads
        if x.batch_id == batch_id
    )
    amounts = tuple(
        (str(a.id), "used" if a.kind == "used" else "came out", a.what, _amount(a), counts("amount", a.id))
        for a in records.amounts
        if a.batch_id == batch_id
    )
    tests = tuple(
        (str(t.id), t.tested_on.isoformat(), t.what, t.sample, t.result, counts("test", t.id))
        for t in records.tests
        if t.batch_id == batch_id
    )
    carried = tuple(
        (
            str(c.id),
            _carried(contents, c),
            _left(c),
            names.get(records.carried_into(c.id) or 0, "waits"),
            counts("carry-over", c.id),
        )
        for c in records.carry_overs
        if c.batch_id == batch_id
    )
    yields = tuple(
        (str(y.id), y.weighed_on.isoformat(), weighed_text(y), y.note)
        for y in contents.current_yields()
        if contents.batch_of(y) == batch_id
    )
    tables = (
        Table(
            ("No.", "Day", "Vessel", "Mass", "What went in", "Counts"),
            loads,
            "Loads",
        ),
        Table(
            ("No.", "", "What", "Amount", "Counts"),
            amounts,
            "Used, and come out",
        ),
        Table(
            ("No.", "Day", "Test", "Of", "Result", "Counts"),
            tests,
            "Tests",
        ),
        Table(
            ("No.", "Boards", "Gold left", "Went into", "Counts"),
            carried,
            "Carried over",
        ),
        Table(
            ("Yield", "Day", "Gold", "Note"),
            yields,
            "Gold weighed",
        ),
    )
    return tuple(table for table in tables if table.rows)


def _lots(contents: Contents, copies: dict[int, float]) -> list[str]:
    names = {lot.id: lot.name for lot in contents.lots}
    return [
        names.get(lot, f"lot {lot}") + ("" if many == 1 else f" × {in_digits(many, 6)}")
        for lot, many in copies.items()
    ]


def _carried(contents: Contents, c: CarryOver) -> str:
    return _lots(contents, {c.lot_id: c.copies})[0]


def _left(c: CarryOver, liked: MassUnit = "auto") -> str:
    return "not judged" if c.left_mg is None else format_mass(c.left_mg, c.left_uncertainty_mg or 0.0, liked)


def _amount(a: BatchAmount) -> str:
    if a.unit == "ml" and a.amount >= 1000:
        return f"{in_digits(a.amount / 1000, 4)} l"
    return f"{in_digits(a.amount, 4)} {a.unit}"
