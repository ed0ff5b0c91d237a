"""Move focus and scroll position to new content: a new page, new photos, an answer.

Redrawing leaves the focus where its element was, or nowhere; this puts it on the new content. It moves
once for each event, and never out of a field that somebody is typing in, unless they asked for the answer.
"""

from __future__ import annotations

from typing import Any

import streamlit as st

_NEXT, _LAST = "desk-arrive-next", "desk-arrive-last"
_SCRIPT = """
const busy = (e) => e instanceof Element && e !== document.body
  && e.matches('input, textarea, select, [role=combobox], [contenteditable=true]');
const seen = (e) => e.checkVisibility({visibilityProperty: true});
export default function ({ data }) {
  const { number, at, asked } = data;
  if (!at || window.graderArrived === number) return;
  window.graderArrived = number;
  const find = (tries) => {
    const target = [...document.querySelectorAll(at)].find(seen);
    const stale = document.querySelector('[data-testid=stApp]')?.dataset.testScriptState === 'running';
    if ((!target || stale) && tries > 0) { setTimeout(find, 60, tries - 1); return; }
    if (!target || window.graderArrived !== number) return;
    if (!asked && busy(document.activeElement)) return;
    if (!target.matches('a, button, input, select, textarea, summary')) target.tabIndex = -1;
    target.focus({ preventScroll: true });
    const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
    target.scrollIntoView({ block: asked ? 'start' : 'nearest', behavior: still ? 'instant' : 'smooth' });
  };
  find(150);
}
"""
_arrive = st.components.v2.component("arrive", html="<span></span>", js=_SCRIPT)


def arrive(at: str, *, asked: bool = False) -> None:
    """Put the focus there after this drawing.

    Args:
        at: a CSS selector; its first visible element is used.
        asked: the last action asked for it: it scrolls to the top, whatever had the focus.
    """
    st.session_state[_NEXT] = (at, asked)


def begin_page(name: str) -> None:
    """Announce the page being drawn; on a new page the focus goes to its title."""
    before = st.session_state.get("desk-page")
    st.session_state["desk-page"] = name
    if before not in (None, name):
        arrive("[data-testid=stMain] h1")


def show_arrival() -> None:
    """Draw the script that moves the focus, once per drawing, after everything else."""
    wanted: tuple[str, bool] | None = st.session_state.pop(_NEXT, None)
    last: dict[str, Any] = st.session_state.get(_LAST, {"number": 0, "at": "", "asked": False})
    if wanted is not None:
        last = {"number": last["number"] + 1, "at": wanted[0], "asked": wanted[1]}
        st.session_state[_LAST] = last
    with st.container(key="arrive"):
        _arrive(key="desk-arrive", data=last)
