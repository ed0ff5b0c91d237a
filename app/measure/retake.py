"""Whether a photo should be taken again, and how: shown before its figures."""

from __future__ import annotations

import base64
import html

import streamlit as st

from app.common.show import table
from grader.measured import Measured
from grader.photo_advice import HOW, CheckName
from grader.photo_advice.drawings import drawing_svg

_WORDS = {True: "good", False: "take it again", None: "the photo does not tell"}


def show_checks(measured: Measured) -> set[str]:
    """Show the faults of a photo, each with advice on how to avoid it; all checks are behind a click.

    Returns:
        Codes of the warnings shown here.
    """
    checks = measured.photo_checks
    bad = [check for check in checks if check.is_good is False]
    for check in bad:
        name = check.check
        st.html(
            f'<div class="retake" role="note"><img src="{_picture(name)}" alt="{html.escape(_alt(name))}"><div>'
            f"<strong>{html.escape(HOW[name].title)}: take it again</strong>"
            f"<p>{html.escape(check.sentence)} {html.escape(check.advice)}</p></div></div>"
        )
    if checks:
        passed = "all passed" if not bad else f"{len(checks) - len(bad)} of {len(checks)} passed"
        with st.expander(f"Checks of this photo: {passed}", icon=":material/checklist:"):
            table(
                ("Check", "Verdict", "What was found"),
                [(c.title, _WORDS[c.is_good], c.sentence) for c in checks],
            )
    return {code for check in bad for code in check.codes}


def _picture(name: CheckName) -> str:
    """The drawing as an address that contains it, because pictures in custom markup are removed."""
    return "data:image/svg+xml;base64," + base64.b64encode(drawing_svg(name).encode()).decode()


def _alt(name: CheckName) -> str:
    return f"Wrong: {HOW[name].wrong}. Right: {HOW[name].right}."
