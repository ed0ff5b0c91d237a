"""The log for a person at a terminal, and as tab-separated lines in a pipe."""

from __future__ import annotations

from rich import box
from rich.markup import escape
from rich.table import Table

from grader.cli.output import out
from grader.log import Contents
from grader.log.tables import TextTable, entry_tables, lots_table


def show_lots(contents: Contents) -> None:
    """One line a lot."""
    show_table(lots_table(contents))


def show_contents(contents: Contents) -> None:
    """All entries of one lot."""
    lot = contents.lots[0]
    about = "".join(
        f"  {label}: {text}"
        for label, text in (("seller", lot.seller), ("boards", lot.part), ("note", lot.note))
        if text
    )
    out.print(f"[bold]Lot {lot.id}, {escape(lot.name)}[/]{escape(about)}")
    for table in entry_tables(contents):
        out.print(f"\n[bold]{table.title}[/]")
        show_table(table)


def show_table(texts: TextTable) -> None:
    """A table on a terminal, tab-separated lines in a pipe."""
    if not out.is_terminal:
        for row in (texts.columns, *texts.rows):
            out.file.write("\t".join(row) + "\n")  # printing would turn tabs into spaces
        return
    table = Table(*texts.columns, box=box.SIMPLE_HEAD, pad_edge=False)
    for row in texts.rows:
        table.add_row(*(escape(cell) for cell in row))
    out.print(table, soft_wrap=False)
