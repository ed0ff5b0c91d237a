"""Belief and comparison as tables and sentences, for the command line and the page."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.belief import Shift
from calibration.finishes import FINISH_WORDS
from calibration.scores import HitRate
from grader.learn.compare import GROUPS, NO_NAME, TrackRecord, YieldBesideEstimate, record, records
from grader.learn.csv_import import CsvRow
from grader.learn.flags import Flag
from grader.learn.newest import Newest
from grader.learn.returns import Return
from grader.model import Range
from grader.table import Table
from grader.units import MassUnit, format_mass, format_money, format_range, format_share, in_digits


def belief_sentences(found: Newest) -> tuple[str, ...]:
    """What the belief rests on and how far it has moved, in plain words."""
    count = len(found.rests_on)
    made = f" of {found.made_at.date().isoformat()}" if found.made_at else ""
    said = [f"The belief{made} rests on {count} {'yield' if count == 1 else 'yields'}."]
    for s in found.belief.shifts():
        moved = "has barely moved" if 0.95 < s.factor < 1.05 else f"has moved by a factor of {s.factor:.2f}"
        said.append(
            f"{FINISH_WORDS[s.finish].capitalize()}: the middle {moved}, and the range is "
            f"{format_share(s.narrower)} as wide (on a scale of factors) as before anything was weighed."
        )
    if found.belief.process:
        said.append(f"It speaks for the process as changed {found.belief.process} times: recovery restarted then.")
    return tuple(said)


def belief_table(shifts: Sequence[Shift]) -> Table:
    """Effective thickness before and now, by finish."""
    return Table(
        ("Finish", "Yields", "Before anything was weighed", "Now"),
        tuple((FINISH_WORDS[s.finish], str(s.batches), _um(s.before), _um(s.now)) for s in shifts),
        "Effective thickness (thickness × fraction recovered)",
    )


def parts_table(found: Newest) -> Table:
    """Effective thickness of each kind of boards that was weighed, by seller."""
    return Table(
        ("Finish", "Boards", "Seller", "Yields", "Now"),
        tuple(
            (FINISH_WORDS[k.finish], k.part or NO_NAME, k.seller or NO_NAME, str(k.batches), _um(k.now))
            for k in found.belief.known()
        ),
        "Effective thickness by kind of boards and seller",
    )


def sellers_table(found: Newest) -> Table:
    """How the same boards come out from each seller, and what is left out where a seller chooses what to show."""
    return Table(
        ("Seller", "Yields", "Same boards ÷ from others", "Boards not shown ÷ shown"),
        tuple(
            (s.seller or NO_NAME, str(s.batches), _ratio(s.beside), "" if s.picked is None else _ratio(s.picked))
            for s in found.belief.sellers()
        ),
        "Sellers",
    )


def left_out_table(found: Newest) -> Table:
    """Yields that are not learned from, and why."""
    return Table(
        ("Yield", "Why"),
        tuple((str(n), why) for n, why in sorted(found.sources.left_out.items())),
        "Not learned from",
    )


def flags_table(flags: Sequence[Flag]) -> Table:
    """Yields worth a look."""
    return Table(
        ("Yield", "Weighed ÷ expected", "Chance", "What may have happened"),
        tuple((str(f.yield_id), in_digits(f.ratio), format_share(f.chance), "; or ".join(f.reasons)) for f in flags),
        "Worth a look: very unlikely by all other yields (still learned from)",
    )


def pairs_table(pairs: Sequence[YieldBesideEstimate], liked: MassUnit = "auto") -> Table:
    """Each yield beside its estimate; gold in the unit that is liked."""
    return Table(
        ("Yield", "Day", "Lots", "Fine gold weighed", "Estimated before", "Off by", "In range", "Score"),
        tuple(
            (
                str(p.yield_id),
                p.day.isoformat(),
                ", ".join(p.lots),
                format_mass(p.fine_mg, liked=liked),
                format_range(p.estimate_mg, "mg", liked) if p.estimate_mg else "",
                "" if p.error is None else f"{p.error * 100:+.0f} %",
                p.why_not or ("yes" if p.inside else "no"),
                "" if p.score_mg is None else format_mass(p.score_mg, liked=liked),
            )
            for p in pairs
        ),
        "Weighed beside estimated",
    )


def record_tables(pairs: Sequence[YieldBesideEstimate], liked: MassUnit = "auto") -> tuple[Table, ...]:
    """How the estimates did: all, and by finish, part, seller and year; bias over time is the last."""
    whole = record("all", pairs)
    tables = [
        Table(
            _RECORD_HEADS,
            () if whole is None else (_record(whole, liked),),
            "All estimates",
        )
    ]
    tables += [
        Table(
            _RECORD_HEADS,
            tuple(_record(r, liked, by) for r in records(pairs, by)),
            f"By {by}",
        )
        for by in GROUPS
    ]
    return tuple(t for t in tables if t.rows)


_RECORD_HEADS = ("", "Yields", "In the 90 % range", "Weighed ÷ estimated", "Mean score")


def _record(r: TrackRecord, liked: MassUnit, by: str = "") -> tuple[str, ...]:
    spread = "" if r.ratio_range is None else f" ({r.ratio_range[0]:.2f} to {r.ratio_range[1]:.2f})"
    name = FINISH_WORDS.get(r.name, r.name) if by == "finish" else r.name
    return name, str(r.count), share_text(r.coverage), f"{r.ratio:.2f}{spread}", format_mass(r.score_mg, liked=liked)


def share_text(s: HitRate) -> str:
    """A share with what it may truly be."""
    return f"{format_share(s.value)} (may truly be {format_share(s.low)} to {format_share(s.high)})"


def returns_table(title: str, some: Sequence[Return], liked: MassUnit = "auto") -> Table:
    """Payments and returns; gold in the preferred unit."""
    return Table(
        ("", "Lots", "Paid", "Fine gold weighed", "Paid for a gram"),
        tuple(
            (
                r.name,
                str(r.lots),
                "; ".join(format_money(price, c) for c, price in r.paid.items()),
                format_mass(r.fine_mg, liked=liked),
                "; ".join(format_money(price, c) for c, price in r.paid_per_g().items()),
            )
            for r in some
        ),
        title,
    )


def rows_table(rows: Sequence[CsvRow]) -> Table:
    """Preview of an import."""
    return Table(
        ("Line", "Lot", "Gold", "Day", "Result"),
        tuple(
            (
                str(r.line),
                r.texts.get("lot", ""),
                r.texts.get("mass", ""),
                r.texts.get("weighed_on", ""),
                str(r.problem)
                if r.problem
                else " ".join(("right, but look:", *(q.message for q in r.questions)))
                if r.questions
                else "right",
            )
            for r in rows
        ),
        "Rows",
    )


def _um(three: tuple[float, float, float]) -> str:
    return format_range(Range(three[1], three[0], three[2]), "µm")


def _ratio(three: tuple[float, float, float]) -> str:
    return f"{three[1]:.2f} ({three[0]:.2f} to {three[2]:.2f}, 90 % sure)"
