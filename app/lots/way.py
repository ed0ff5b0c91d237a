"""Ways through the page: three jobs, each a row of steps with the next one offered."""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from app.common.show import as_typed
from app.lots.desk import KEY_IN_ADDRESS, current_lot, lot_key, lot_name
from app.lots.shelf import kept

WAY = "way"


@dataclass(frozen=True)
class Step:
    """One page of a way, and its purpose there."""

    file: str
    title: str


@dataclass(frozen=True)
class Job:
    """One job from its first page to its last."""

    title: str
    about: str
    icon: str
    steps: tuple[Step, ...]


WAYS: Mapping[str, Job] = {
    "listing": Job(
        "Price a listing",
        "Photos of boards for sale: how much gold is on them, and what is the most to pay?",
        ":material/sell:",
        (
            Step("value/page.py", "Photos and price"),
            Step("log/page.py", "Keep this lot"),
        ),
    ),
    "bench": Job(
        "Work through a pile",
        "Boards on the bench: which are worth the work, where to cut, what does the batch need?",
        ":material/content_cut:",
        (
            Step("measure/page.py", "Photos"),
            Step("bench/page.py", "Sort and cut"),
            Step("log/page.py", "Keep this lot"),
        ),
    ),
    "weigh": Job(
        "Weigh and log",
        "Gold on the scale: add it to its lot, and let the next estimate learn from it.",
        ":material/scale:",
        (
            Step("log/page.py", "Weigh"),
            Step("learn/page.py", "What it taught"),
        ),
    ),
}


def chosen_way() -> Job:
    """The current job; pricing a listing if no job was chosen."""
    return WAYS.get(str(st.session_state.get(WAY, "listing")), WAYS["listing"])


def link(file: str, label: str, icon: str | None = None) -> None:
    """Draw a link to a page that stays on the lot in progress."""
    st.page_link(file, label=label, icon=icon, query_params={KEY_IN_ADDRESS: lot_key()})


def show_way(file: str) -> None:
    """Show the lot, the job, and the page's step in it."""
    way = chosen_way()
    items = "".join(
        f"<li{' aria-current=step' if step.file == file else ''}>{html.escape(step.title)}</li>" for step in way.steps
    )
    with st.container(key="way"):
        st.html(
            f'<div class="lot">{html.escape(_lot_line())}</div>'
            f'<div class="steps"><span>{html.escape(way.title)}</span><ol>{items}</ol></div>'
        )


def show_next(file: str) -> None:
    """Draw the way on: to the next step of the job, or back to the start after the last one."""
    steps = chosen_way().steps
    files = [step.file for step in steps]
    at = files.index(file) + 1 if file in files else len(files)
    with st.container(key="next"):
        if at < len(steps):
            link(steps[at].file, f"Next: {as_typed(steps[at].title)}", ":material/arrow_forward:")
        else:
            link("start/page.py", "Back to the start", ":material/home:")


def _lot_line() -> str:
    """The lot in progress in one line."""
    shelf = kept()
    parts = [lot_name()]
    waiting = len(current_lot().waiting())
    if shelf or waiting:
        count = len(shelf) + waiting
        parts.append(f"{count} {'photo' if count == 1 else 'photos'}")
    parts += current_lot().facts().get("said", [])
    return " · ".join(parts)
