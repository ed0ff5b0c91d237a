"""An offer as text for a person: plain words, few digits, the cautions always in sight."""

from __future__ import annotations

from rich.markup import escape

from calibration.notices import Notice
from grader.cli.output import out, show_notice, show_table
from grader.report.blocks import Block, Caveat, Heading, Text
from grader.report.offer_blocks import offer_blocks
from grader.table import Table
from grader.valuation import Offer


def show_offer(offer: Offer) -> None:
    """Print an offer, the same as in a report."""
    for block in offer_blocks(offer):
        _show(block)
    out.print()
    for statement in offer.statements:
        out.print(escape(statement))


def _show(block: Block) -> None:
    match block:
        case Heading():
            out.print(f"\n[bold]{escape(block.text)}[/]")
        case Text():
            out.print(escape(block.text), style="bold" if block.is_strong else None)
        case Caveat():
            out.print()
            show_notice(Notice(block.code, block.message, block.advice))
        case Table():
            out.print()
            if block.title:
                out.print(f"[bold]{escape(block.title)}[/]")
            show_table(block.columns, block.rows, indent="  " if block.title else "")
