"""Texts that are not ours reach the reader as they are."""

from __future__ import annotations

import re

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from app.common.show import as_typed, label, split_range, table, told_list
from grader.model import Range


@given(st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), max_size=60))
def test_markdown_shows_a_text_as_it_is(text: str) -> None:
    assume(text.strip())
    opened, block, closed = MarkdownIt("commonmark").parse(as_typed(text))
    assert (opened.type, closed.type) == ("paragraph_open", "paragraph_close")
    assert {part.type for part in block.children or []} <= {"text", "text_special"}
    assert "".join(part.content for part in block.children or []) == " ".join(text.split())


def test_a_space_that_holds_words_together_reaches_the_page() -> None:
    assert as_typed(" seen \n to  94\N{NO-BREAK SPACE}% ") == "seen to 94\N{NO-BREAK SPACE}%"


def test_figures_in_lists_and_tables_stay_with_their_units(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[str] = []
    monkeypatch.setattr("streamlit.html", shown.append)
    told_list([("Gold: 9 mg (90 % sure)", "12 USD")])
    table(("", ""), [("Gold", "11 mg (2 to 27 mg, 90 % sure)")])
    for text in ("9 mg", "90 %", "12 USD", "11 mg", "27 mg,"):
        assert text.replace(" ", "\N{NO-BREAK SPACE}") in "\n".join(shown)


@pytest.mark.parametrize("name", ["board 7 (front).jpg", "a-b_c.png", "*x* [y](z) `w` <b>", "1. first", "# no"])
def test_a_label_shows_a_name_as_it_is_with_few_escapes(name: str) -> None:
    # a label's blocks are taken apart by the page, so that only marks within a line count
    (block,) = MarkdownIt("commonmark").parseInline(label(name))
    assert "".join(part.content for part in block.children or []) == name
    assert label("board 7 (front).jpg") == "board 7 (front).jpg"


@pytest.mark.parametrize("mark", ["$1 and $2", ":red[x]", ":material/home:", "~~x~~", "a@b.org"])
def test_the_pages_own_marks_are_escaped(mark: str) -> None:
    assert not re.search(r"(?<!\\)[$:~@\[]", as_typed(mark))


def test_a_range_is_split_into_value_and_bounds() -> None:
    value = Range(425.7, 410.2, 441.9)
    assert split_range(value, "mm²") == ("426 mm²", "410 to 442 mm², 90 % sure")
    assert split_range(Range(0.0, 0.0, 0.0), "mm²")[1] == ""
