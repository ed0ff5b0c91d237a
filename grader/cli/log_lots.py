"""``grader log``: what is said of a lot, changed."""

from __future__ import annotations

from typing import Annotated

import typer

from grader.cli.log import log_app
from grader.cli.log_options import LogOption, LotArgument, WhoOption, existing_log, number_or_name, say_line


@log_app.command()
def change(
    lot: LotArgument,
    name: Annotated[str | None, typer.Option(help="Another name.", show_default=False)] = None,
    seller: Annotated[str | None, typer.Option(help="Another seller.", show_default=False)] = None,
    part: Annotated[str | None, typer.Option(help="Another kind of boards.", show_default=False)] = None,
    note: Annotated[str | None, typer.Option(help="Another note.", show_default=False)] = None,
    archived: Annotated[
        bool | None,
        typer.Option("--archive/--restore", help="Put the lot away, or bring it back.", show_default=False),
    ] = None,
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Say something else of a lot: its name, seller, kind of boards, note. Its entries stay as they are.

    What was said before stays in the log. A lot that is put away still counts in every sum and in what is learned.

    Example: grader log change "attic lot" --name "attic lot, first half"
    """
    opened = existing_log(log)
    old = opened.lot(number_or_name(lot))
    given = {"name": name, "seller": seller, "part": part, "note": note}
    new = old.as_new(**{key: text for key, text in given.items() if text is not None})
    now = opened.change_lot(old.id, new, archived=archived, who=who)
    away = ", put away" if now.archived else ""
    say_line(f"Lot {now.id} is now {now.name}{away}." if now != old else f"Lot {now.id}, {now.name}, is as it was.")
