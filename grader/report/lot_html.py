"""A lot's report as one HTML file that needs nothing else: no script, no font, no picture from elsewhere."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

from grader.report.blocks import Block, Caveat, Heading, Picture, Table, Text
from grader.report.lot_report import LotReport

_STYLE = """
:root { color-scheme: light dark; --line: #8886; }
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60rem; margin: 0 auto; padding: 1rem 1rem 4rem; }
h1 { font-size: 1.8rem; margin-bottom: 0; } h2 { margin-top: 2.5rem; border-bottom: 1px solid var(--line); }
img { max-width: 100%; height: auto; border-radius: 4px; } figure { margin: 1rem 0; }
figcaption { font-size: .9rem; }
.wide { overflow-x: auto; margin: 1rem 0; }
table { border-collapse: collapse; width: 100%; } caption { text-align: left; font-weight: 650; padding: .3rem 0; }
th, td { text-align: left; vertical-align: top; padding: .35rem .9rem .35rem 0; }
th, td { border-bottom: 1px solid var(--line); }
.strong { font-weight: 650; }
@media print { body { max-width: none; } h2, figure, tr { break-inside: avoid; } }
"""
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def lot_html(report: LotReport) -> str:
    """The report as HTML; every text in it is escaped, for names are typed by anyone."""
    title = escape(report.title)
    body = "\n".join(map(_block, report.blocks()))
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(_POLICY)}">'
        f"<title>{title}</title><style>{_STYLE}</style></head>\n"
        f"<body><main><h1>{title}</h1><p>{report.made_on.isoformat()}</p>\n{body}\n</main></body></html>\n"
    )


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
