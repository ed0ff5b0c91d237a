"""The ranking as a table, as CSV, and as one self-contained HTML page with small pictures."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from html import escape

from grader.market.rank import Ranked
from grader.spreadsheet import csv_cell
from grader.units import format_money, format_share

HEADS = ("listing", "bid", "asking", "margin", "chance of loss", "buy", "pictures", "ask or reason")
_SHOWN = 4  # pictures of a listing
_STYLE = """
:root { color-scheme: light dark; }
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 80rem; margin: 0 auto; padding: 1rem 1rem 4rem; }
table { border-collapse: collapse; width: 100%; } .wide { overflow-x: auto; }
th, td { text-align: left; vertical-align: top; padding: .4rem .9rem .4rem 0; border-bottom: 1px solid #8886; }
.number { text-align: right; white-space: nowrap; } img { height: 5.5rem; width: auto; border-radius: 4px; }
tr.buy th { border-left: .3rem solid #c90; padding-left: .6rem; } small { display: block; }
"""
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def table_rows(listings: Sequence[Ranked]) -> list[tuple[str, ...]]:
    """Texts of a table with ``HEADS``."""
    return [
        (
            one.name,
            _money(one.bid, one.currency),
            _money(one.asking, one.currency),
            _money(one.margin, one.currency),
            "-" if one.chance_of_loss is None else format_share(one.chance_of_loss),
            "" if one.buy is None else ("yes" if one.buy else "no"),
            f"{one.measured} of {one.pictures}",
            one.refused or next(iter(one.ask), ""),
        )
        for one in listings
    ]


def _money(amount: float | None, currency: str) -> str:
    return "-" if amount is None else format_money(amount, currency, abs(amount) / 50)


def market_csv(listings: Sequence[Ranked]) -> str:
    """A line for each listing. Numbers are plain; texts are such that no spreadsheet takes them for formulas."""
    out = io.StringIO()
    rows = [one.as_json() for one in listings]
    names = list(rows[0]) if rows else []
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(row[name]) for name in names])
    return out.getvalue()


def _cell(value: object) -> str:
    if isinstance(value, list):
        value = "; ".join(map(str, value))
    return csv_cell(value)


def market_html(listings: Sequence[Ranked], title: str, statements: Sequence[str] = ()) -> str:
    """One page. Every text in it is escaped, because anyone may have typed the names."""
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in ("", *HEADS))
    body = "".join(_row(one, texts) for one, texts in zip(listings, table_rows(listings), strict=True))
    foot = "".join(f"<p>{escape(text)}</p>" for text in statements)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(_POLICY)}">'
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head>\n<body><main><h1>{escape(title)}</h1>\n"
        f'<div class="wide"><table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>{foot}\n'
        "</main></body></html>\n"
    )


def _row(one: Ranked, texts: Sequence[str]) -> str:
    pictures = "".join(
        f'<img src="data:image/jpeg;base64,{escape(jpeg)}" alt="picture {n} of {escape(one.name)}">'
        for n, jpeg in enumerate(one.thumbnails[:_SHOWN], 1)
    )
    name, *numbers, seen, said = texts
    cells = "".join(f'<td class="number">{escape(text)}</td>' for text in numbers)
    more = "".join(f"<small>{escape(text)}</small>" for text in (*one.ask[0 if one.refused else 1 :], *one.notes))
    return (
        f'<tr{" class=buy" if one.buy else ""}><td>{pictures}</td><th scope="row">{escape(name)}</th>{cells}'
        f"<td>{escape(seen)}</td><td>{escape(said)}{more}</td></tr>"
    )
