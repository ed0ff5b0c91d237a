"""The log for a person at a terminal, and as tab-separated lines in a pipe."""

from __future__ import annotations

from collections.abc import Iterable

from rich.markup import escape

from grader.cli import output
from grader.cli.output import out
from grader.log import Contents
from grader.log.tables import entry_tables, lots_table
from grader.table import Table


def show_lots(contents: Contents) -> None:
    """One line a lot."""
    print_table(lots_table(contents))


def show_contents(contents: Contents) -> None:
    """All entries of one lot."""
    lot = contents.lots[0]
    about = "".join(
        f"  {label}: {text}"
        for label, text in (("seller", lot.seller), ("boards", lot.part), ("note", lot.note))
        if text
    )
    out.print(f"[bold]Lot {lot.id}, {escape(lot.name)}[/]{escape(about)}")
    print_tables(entry_tables(contents))


def print_tables(tables: Iterable[Table]) -> None:
    """Tables under their titles; an empty one is left out."""
    for table in tables:
        if table.rows:
            out.print(f"\n[bold]{table.title}[/]")
            print_table(table)


def print_table(texts: Table) -> None:
    """A table on a terminal, tab-separated lines in a pipe."""
    output.show_table(texts.columns, texts.rows)
