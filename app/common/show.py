"""How texts, ranges, errors and bars look on the page. Nothing here knows what a page does."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from app.common.preferences import mass_unit
from calibration.advice import Advised, wording
from grader.model import Range
from grader.units import format_range, format_share, together

_MARKUP = re.compile(r"([\\`*_{}\[\]()<>#+\-.!|$:~&^@])")
_MARKUP_IN_LABEL = re.compile(r"([\\`*_\[\]<>$:~])")
_BREAKS = re.compile(r"[^\S\N{NO-BREAK SPACE}]+")  # spaces at which a line may be broken, and breaks of lines
_STYLE = Path(__file__).with_name("style.css")


def style() -> None:
    """How everything looks that the theme does not decide."""
    st.html(_STYLE)


def label(text: str) -> str:
    """A text that is not ours as a field's label: readers of the screen hear its escapes, so that there are few."""
    return _MARKUP_IN_LABEL.sub(r"\\\1", " ".join(text.split()))


def as_typed(text: str) -> str:
    """Text that Markdown and Streamlit's own marks show as it is: file names and typed words are not ours."""
    return _MARKUP.sub(r"\\\1", _BREAKS.sub(" ", text).strip())


def advice_of(item: Advised) -> str:
    """What to do next, in the words of the page."""
    return wording("app.common").advice_of(item)


def problem(item: Advised, about: str = "") -> None:
    """An error, beside what it is about."""
    st.error(_told(item, about), icon=":material/error:")


def caution(item: Advised) -> None:
    """A warning: the figures stand, but deserve less trust."""
    st.warning(_told(item, ""), icon=":material/warning:")


def cautions(lines: Sequence[str]) -> None:
    """What can hurt, wherever process steps or amounts are shown."""
    st.warning("\n\n".join(as_typed(line) for line in lines), icon=":material/health_and_safety:")


def _told(item: Advised, about: str) -> str:
    where = f"**{as_typed(about)}** — " if about else ""
    return f"{where}{as_typed(item.message)}\n\n{as_typed(advice_of(item))}"


def visible_only(statement: str) -> None:
    """The reminder of what the figures leave out."""
    with st.container(key="visible-only"):
        remark(statement)


def remark(text: str) -> None:
    """A line of small text, in full contrast."""
    st.markdown(f":small[{as_typed(text)}]")


def where_from(text: str) -> None:
    """A source, behind a line that opens it."""
    st.html(
        '<details class="source"><summary>Where this figure is from</summary>'
        f"<p>{html.escape(' '.join(text.split()))}</p></details>"
    )


def heading(text: str) -> None:
    """A heading without a link to itself."""
    st.header(as_typed(text), anchor=False)


def figure(label: str, value: Range | None, unit: str) -> None:
    """One large figure with its range below."""
    told_figure(label, range_text(value, unit))


def told_figure(label: str, text: str) -> None:
    """The same of a range as a text."""
    middle, span = _split(text)
    st.metric(label, middle)
    st.markdown(as_typed(together(span)) if span else "&nbsp;")


def split_range(value: Range | None, unit: str) -> tuple[str, str]:
    """A range as two texts: the value, and its bounds (empty if there are none)."""
    return _split(range_text(value, unit))


def _split(text: str) -> tuple[str, str]:
    middle, _, span = text.partition(" (")
    return middle, span.removesuffix(")")


def range_text(value: Range | None, unit: str) -> str:
    """A range as one text; empty if there is none."""
    return "" if value is None else format_range(value, unit, mass_unit())


def bars(lines: Sequence[tuple[str, float, str]]) -> None:
    """Shares of a whole as bars.

    Args:
        lines: title, share of 0..1, and a further remark, which may be empty.
    """
    rows = "".join(
        f'<div class="part"><div>'
        f"<span>{html.escape(title)}</span><strong>{html.escape(format_share(share))}</strong></div>"
        f'<div class="share"><div style="width:{min(max(share, 0.0), 1.0) * 100:.1f}%"></div></div>'
        + (f'<small style="opacity:0.85">{html.escape(remark)}</small>' if remark else "")
        + "</div>"
        for title, share, remark in lines
    )
    st.html(f"<div>{rows}</div>")


def told_list(rows: Sequence[tuple[str, str]]) -> None:
    """Sentences, each with what it amounts to; on a narrow window no line ends between a number and its unit."""
    items = "".join(
        f"<li>{html.escape(together(text))} <strong>{html.escape(together(worth))}</strong></li>"
        for text, worth in rows
    )
    st.html(f'<ul class="plain">{items}</ul>')


def table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table of short texts; on a narrow window cells wrap, and of more than two columns each row becomes a card."""
    named = any(columns)
    heads = "".join(f'<th role="columnheader">{html.escape(c)}</th>' for c in columns)
    head = f'<thead role="rowgroup"><tr role="row">{heads}</tr></thead>' if named else ""
    body = "".join(
        '<tr role="row">'
        + "".join(
            f'<td role="cell" data-title="{html.escape(title)}"{_kept_whole(cell)}>{html.escape(together(cell))}</td>'
            for title, cell in zip(columns, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    kind = "figures cards" if named and len(columns) > _MOST_COLUMNS else "figures"
    st.html(f'<table class="{kind}" role="table">{head}<tbody role="rowgroup">{body}</tbody></table>')


def _kept_whole(cell: str) -> str:
    """Dates and single figures do not wrap."""
    return ' class="short"' if len(cell) <= _SHORT else ""


_MOST_COLUMNS = 2  # that a phone has room for
_SHORT = 12  # characters: a date, "1.8163 g", "-208 USD"
