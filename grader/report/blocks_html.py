"""Blocks of a report as HTML, for a whole page or a notebook's cell."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

from grader.report.blocks import Block, Caveat, Heading, Picture, Text
from grader.table import Table


def blocks_html(blocks: Iterable[Block]) -> str:
    """Blocks as a piece of HTML; every text in it is escaped."""
    return "\n".join(map(_block, blocks))


def _block(block: Block) -> str:
    match block:
        case Heading():
            return f"<h{block.level + 1}>{escape(block.text)}</h{block.level + 1}>"
        case Text():
            return (
                f'<p class="strong">{escape(block.text)}</p>' if block.is_strong else f"<p>{escape(block.text)}</p>"
            )
        case Caveat():
            return f"<p>{escape(block.message)}<br>→ {escape(block.advice)}</p>"
        case Table():
            return _table(block)
        case Picture():
            return _picture(block)


def _table(table: Table) -> str:
    caption = f"<caption>{escape(table.title)}</caption>" if table.title else ""
    has_heads = any(table.columns)
    heads = "".join(f'<th scope="col">{escape(c)}</th>' for c in table.columns)
    rows = "".join(f"<tr>{_first(row[0], is_head=not has_heads)}{_cells(row[1:])}</tr>" for row in table.rows)
    head = f"<thead><tr>{heads}</tr></thead>" if has_heads else ""
    return f'<div class="wide"><table>{caption}{head}<tbody>{rows}</tbody></table></div>'


def _first(text: str, *, is_head: bool) -> str:
    return f'<th scope="row">{escape(text)}</th>' if is_head else _cells((text,))


def _cells(texts: Sequence[str]) -> str:
    return "".join(f"<td>{escape(text)}</td>" for text in texts)


def _picture(picture: Picture) -> str:
    data = base64.b64encode(picture.jpeg).decode("ascii")
    caption = f"<figcaption>{escape(picture.caption)}</figcaption>" if picture.caption else ""
    return (
        f'<figure><img src="data:image/jpeg;base64,{data}" width="{picture.width_px}" height="{picture.height_px}" '
        f'alt="{escape(picture.alt)}">{caption}</figure>'
    )
