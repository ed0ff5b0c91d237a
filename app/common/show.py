"""The look of texts, ranges, errors and bars, independent of any page."""

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
    """Load the styles that the theme does not set."""
    st.html(_STYLE)


def label(text: str) -> str:
    """Escape foreign text for a field's label, sparingly, because screen readers read the escapes aloud."""
    return _MARKUP_IN_LABEL.sub(r"\\\1", " ".join(text.split()))


def as_typed(text: str) -> str:
    """Escape foreign text (file names, typed words) so that Markdown and Streamlit show it literally."""
    return _MARKUP.sub(r"\\\1", _BREAKS.sub(" ", text).strip())


def advice_of(item: Advised) -> str:
    """What to do next, in the words of the page."""
    return wording("app.common").advice_of(item)


def problem(item: Advised, about: str = "") -> None:
    """Show an error next to its subject."""
    st.error(_told(item, about), icon=":material/error:")


def caution(item: Advised) -> None:
    """Show a warning: the figures stand, but deserve less trust."""
    st.warning(_told(item, ""), icon=":material/warning:")


def cautions(lines: Sequence[str]) -> None:
    """Show the safety cautions, wherever process steps or amounts are shown."""
    st.warning("\n\n".join(as_typed(line) for line in lines), icon=":material/health_and_safety:")


def _told(item: Advised, about: str) -> str:
    where = f"**{as_typed(about)}** — " if about else ""
    return f"{where}{as_typed(item.message)}\n\n{as_typed(advice_of(item))}"


def visible_only(statement: str) -> None:
    """Show the reminder of what the figures leave out."""
    with st.container(key="visible-only"):
        remark(statement)


def remark(text: str) -> None:
    """Show a line of small text, in full contrast."""
    st.markdown(f":small[{as_typed(text)}]")


def where_from(text: str) -> None:
    """Show a source, folded."""
    st.html(
        '<details class="source"><summary>Where this figure is from</summary>'
        f"<p>{html.escape(' '.join(text.split()))}</p></details>"
    )


def heading(text: str) -> None:
    """A heading without a link to itself."""
    st.header(as_typed(text), anchor=False)


def figure(label: str, value: Range | None, unit: str) -> None:
    """Show one large figure with its range below."""
    told_figure(label, range_text(value, unit))


def told_figure(label: str, text: str) -> None:
    """The same for a range given as text."""
    middle, span = _split(text)
    st.metric(label, middle)
    st.markdown(as_typed(together(span)) if span else "&nbsp;")


def split_range(value: Range | None, unit: str) -> tuple[str, str]:
    """Split a range into two texts: the value, and its bounds (empty if there are none)."""
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
    """Show sentences with their amounts; in a narrow window no line breaks between a number and its unit."""
    items = "".join(
        f"<li>{html.escape(together(text))} <strong>{html.escape(together(worth))}</strong></li>"
        for text, worth in rows
    )
    st.html(f'<ul class="plain">{items}</ul>')


def table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Show a table of short texts; in a narrow window cells wrap, or rows of many columns become cards."""
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
    """Keep dates and single figures from wrapping."""
    return ' class="short"' if len(cell) <= _SHORT else ""


_MOST_COLUMNS = 2  # that a phone has room for
_SHORT = 12  # characters: a date, "1.8163 g", "-208 USD"
