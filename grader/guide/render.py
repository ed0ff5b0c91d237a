"""A page of the guide as HTML: a file's Markdown, the list of all pages, and a look of its own, light and dark."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from functools import cache

from markdown_it import MarkdownIt
from markdown_it.token import Token

from calibration.packaged import packaged_text
from grader.guide.pages import FIRST, GuidePage

_NAME = "Board gold grader"


def page_html(page: GuidePage, pages: Sequence[GuidePage]) -> str:
    """A whole page; links to other pages of the guide lead to their addresses, all others stay as they are."""
    body = _markdown().render(page.text, {"pages": {p.name for p in pages}})
    items = "".join(_item(p, is_here=p is page) for p in pages)
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f"<title>{html.escape(page.title)} - {_NAME}</title>"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{_style()}</style></head><body><a class=skip href=#text>To the text</a>"
        f'<header><a href="/"><img src="/pictures/mark.svg" alt="">{_NAME}</a>'
        '<a class="all" href="#pages">All pages</a></header>'
        f'<nav id="pages" aria-label="Pages"><ul>{items}</ul></nav>'
        f'<main id="text">{body}</main></body></html>'
    )


def _item(page: GuidePage, *, is_here: bool) -> str:
    here = " aria-current=page" if is_here else ""
    return f'<li><a href="{_address(page.name)}"{here}>{html.escape(_short(page))}</a></li>'


def heading_ids(text: str) -> list[str]:
    """The anchors of a page's headings, as a code host makes them: small letters, hyphens for spaces."""
    return [str(t.attrGet("id")) for t in _markdown().parse(text) if t.type == "heading_open"]


def _short(page: GuidePage) -> str:
    return "Guide" if page.name == FIRST else page.title.partition(":")[0]


def _address(name: str) -> str:
    return "/" if name == FIRST else f"/{name}"


@cache
def _style() -> str:
    return packaged_text("grader.guide", "guide.css")


@cache
def _markdown() -> MarkdownIt:
    # Nothing of the pages is HTML: what looks like it is shown as it is written.
    made = MarkdownIt("commonmark", {"html": False}).enable("table")
    made.core.ruler.push("guide_links", _links_and_ids)
    return made


def _links_and_ids(state: object) -> None:
    tokens: list[Token] = state.tokens  # type: ignore[attr-defined]
    pages: set[str] = state.env.get("pages", set())  # type: ignore[attr-defined]
    seen: dict[str, int] = {}
    for token, following in zip(tokens, [*tokens[1:], None], strict=True):
        if token.type == "heading_open" and following is not None:
            slug = re.sub(r"[^\w\- ]", "", following.content.lower()).replace(" ", "-")
            again = seen.get(slug, 0)
            seen[slug] = again + 1
            token.attrSet("id", f"{slug}-{again}" if again else slug)
        for inside in token.children or ():
            if inside.type == "link_open":
                inside.attrSet("href", _link(str(inside.attrGet("href")), pages))
            if inside.type == "image":
                inside.attrSet("loading", "lazy")


def _link(target: str, pages: set[str]) -> str:
    found = re.fullmatch(r"(?P<name>[\w-]+)\.md(?P<anchor>#.*)?", target)
    if found is None or found["name"] not in pages:
        return target
    return f"{_address(found['name'])}{found['anchor'] or ''}"
