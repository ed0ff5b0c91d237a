"""A lot's report as one HTML file that needs nothing else: no script, no font, no picture from elsewhere."""

from __future__ import annotations

from html import escape

from grader.report.blocks_html import blocks_html
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
    body = blocks_html(report.blocks())
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(_POLICY)}">'
        f"<title>{title}</title><style>{_STYLE}</style></head>\n"
        f"<body><main><h1>{title}</h1><p>{report.made_on.isoformat()}</p>\n{body}\n</main></body></html>\n"
    )
