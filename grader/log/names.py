"""Compare names by Unicode's canonical caseless matching, in Python, so that every database agrees.

SQLite ignores case only for ASCII, PostgreSQL by its locale, and neither knows that "é" may be one character or
two. So names are compared here, and the rules of the tables are only a last safeguard.
"""

from __future__ import annotations

from typing import Literal

from sqlalchemy import Connection, Integer, RowMapping, Table, Text, select
from sqlalchemy.sql import column

from calibration.errors import UsageError
from grader.log.entry import folded


def named_row(c: Connection, table: Table, key: int | str, kind: Literal["lot", "batch"]) -> RowMapping | None:
    """Find a row by number or name. If an older log has several spellings of one name, the exact one wins.

    Raises:
        UsageError: ``lot-ambiguous``, ``batch-ambiguous``: several rows have this name, none with this spelling.
    """
    if isinstance(key, int):
        return c.execute(select(table).where(column("id", Integer) == key)).mappings().one_or_none()
    numbers = numbers_named(c, table, key)
    if len(numbers) > 1:
        exact = [number for number, name in numbers.items() if name == key.strip()]
        if len(exact) != 1:
            listed = ", ".join(f"{number} ('{name}')" for number, name in numbers.items())
            raise UsageError(
                f"{kind}-ambiguous", f"'{key}' may be any of these: {listed}.", f"Name the {kind} by its number."
            )
        return named_row(c, table, exact[0], kind)
    return named_row(c, table, next(iter(numbers)), kind) if numbers else None


def numbers_named(c: Connection, table: Table, name: str) -> dict[int, str]:
    """Numbers and spellings of all rows with this name."""
    wanted = folded(name)
    rows = c.execute(select(column("id", Integer), column("name", Text)).select_from(table)).all()
    return {int(number): str(spelled) for number, spelled in rows if folded(str(spelled)) == wanted}


def claim_name(c: Connection, table: Table, name: str, kind: Literal["lot", "batch"], but: int | None = None) -> None:
    """Refuse a name taken by a row other than ``but``.

    On a server, others are locked out until this transaction ends.

    Raises:
        UsageError: ``lot-exists``, ``batch-exists``.
    """
    if c.dialect.name == "postgresql":  # locked before anything is read, so that what others just did is seen
        c.exec_driver_sql(f"LOCK TABLE {table.name} IN SHARE ROW EXCLUSIVE MODE")
    taken = {number: spelled for number, spelled in numbers_named(c, table, name).items() if number != but}
    if taken:
        spelled = next(iter(taken.values()))
        also = "" if kind == "batch" else ", or add to it"
        raise UsageError(
            f"{kind}-exists", f"There is already a {kind} named '{spelled}'.", f"Choose another name{also}."
        )
