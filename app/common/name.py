"""The program's name, and its mark."""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path

import streamlit as st

NAME = "Board gold grader"

_MARK = Path(__file__).with_name("mark")
ICON = str(_MARK / "icon.png")
"""For the window, made from the mark by ``python -m tests.pictures``."""
PICTURE = str(_MARK / "start.jpg")
"""Boards as taken and as measured; made likewise."""
PICTURE_ALT = "Boards as photographed, and the same boards with the plating that was found on them, hatched"


def show_name() -> None:
    """Show mark and name above the links to the pages."""
    st.html(f'<div class="name"><img src="{_picture()}" alt="">{NAME}</div>')


@cache
def _picture() -> str:
    return f"data:image/svg+xml;base64,{base64.b64encode((_MARK / 'mark.svg').read_bytes()).decode()}"
