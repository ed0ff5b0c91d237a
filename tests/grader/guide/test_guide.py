"""The guide: complete, without broken links, true of the commands as they are, and shown without a network."""

from __future__ import annotations

import io
import re
import shlex
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from http.server import ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest
import typer
from markdown_it import MarkdownIt
from PIL import Image

from calibration.kinds import board_kind
from grader.cli.app import app
from grader.guide import guide_folder, guide_pages, guide_server, page_html
from grader.guide.render import heading_ids
from grader.listing_text import read_listing_text
from tests.commands_page import PAGE as COMMANDS
from tests.commands_page import commands_text
from tests.pictures import overlays

DOCS = Path(__file__).parents[3] / "docs"
README = DOCS.parent / "README.md"
PAGES = guide_pages(DOCS)
# The text that the guide reads in buying.md.
LISTING = """Old memory modules, gold contacts, 2.5 kg
Price: 28.00 USD
Shipping: 9.50 USD
Weight including packaging 3 kg
"""
# For developers: a table that a test writes.
NOT_OF_THE_GUIDE = {"paths"}
_IMG = re.compile(r'<img src="(?P<src>[^"]+)"')


def targets(text: str) -> Iterator[str]:
    """Where a page's links and pictures lead."""
    for token in MarkdownIt("commonmark").enable("table").parse(text):
        for inside in (token, *(token.children or ())):
            if inside.type in ("link_open", "image"):
                yield str(inside.attrGet("href") or inside.attrGet("src"))
            elif inside.type in ("html_block", "html_inline"):
                yield from (found["src"] for found in _IMG.finditer(inside.content))


@pytest.mark.parametrize("path", [*sorted(DOCS.glob("*.md")), README], ids=lambda path: path.name)
def test_every_link_leads_somewhere(path: Path) -> None:
    for target in targets(path.read_text("utf-8")):
        if target.startswith(("https://", "http://")):
            continue
        file, _, anchor = target.partition("#")
        there = path if not file else (path.parent / file).resolve()
        assert there.exists(), f"{path.name}: {target}"
        if anchor:
            assert anchor in heading_ids(there.read_text("utf-8")), f"{path.name}: {target}"


def test_the_first_page_leads_to_all_others() -> None:
    assert {page.name for page in PAGES} == {path.stem for path in DOCS.glob("*.md")} - NOT_OF_THE_GUIDE


def test_the_page_of_commands_is_what_their_help_says() -> None:
    assert COMMANDS.read_text("utf-8") == commands_text(), "write it anew: python -m tests.commands_page"


def commands_in(text: str) -> Iterator[list[str]]:
    """The commands that a page shows, each as words."""
    for token in MarkdownIt("commonmark").enable("table").parse(text):
        lines = token.content.splitlines() if token.type == "fence" and not token.info else []
        lines += [inside.content for inside in token.children or () if inside.type == "code_inline"]
        for line in lines:
            words = line.strip().removeprefix(".venv/bin/")
            if words.startswith("grader ") and "COMMAND" not in words:
                yield shlex.split(words)


@pytest.mark.parametrize("path", [*sorted(DOCS.glob("*.md")), README], ids=lambda path: path.name)
def test_the_commands_in_it_exist_with_their_options(path: Path) -> None:
    for words in commands_in(path.read_text("utf-8")):
        here, rest = typer.main.get_command(app), words[1:]
        while rest and (inner := getattr(here, "commands", {}).get(rest[0])) is not None:
            here, rest = inner, rest[1:]
        assert not (rest and rest[0][0] != "-" and hasattr(here, "commands")), f"there is no such command: {words}"
        options = {option for p in here.params for option in (*p.opts, *p.secondary_opts)} | {"--help"}
        assert [word for word in rest if re.match(r"--\w", word) and word not in options] == [], words


def test_commands_are_found_in_a_page() -> None:
    assert ["grader", "page"] in list(commands_in(README.read_text("utf-8")))
    assert len(list(commands_in((DOCS / "buying.md").read_text("utf-8")))) > 8


def test_the_listing_that_the_guide_reads_says_what_it_says() -> None:
    told = (DOCS / "buying.md").read_text("utf-8")
    read = read_listing_text(LISTING)
    for name, found in (("mass", read.mass), ("asking", read.asking), ("postage", read.postage)):
        assert found is not None
        assert f"From the listing: {name} {found.value}, read from “{found.words}”." in told
    assert read.kind is not None
    assert f"kind of boards {board_kind(read.kind.value).words}, read from “{read.kind.words}”" in told


def test_no_page_is_html_and_none_is_long() -> None:
    for page in PAGES:
        assert "html_block" not in {token.type for token in MarkdownIt("commonmark").parse(page.text)}, page.name
        assert page.name in ("commands", "python") or len(page.text.splitlines()) < 200


def test_pictures_are_there_with_words_for_them_and_light() -> None:
    pictures = [path for path in (DOCS / "pictures").iterdir() if path.suffix in (".png", ".jpg")]
    assert len(pictures) >= 4
    for path in pictures:
        with Image.open(path) as opened:
            assert min(opened.size) > 50
    assert sum(path.stat().st_size for path in pictures) < 2_000_000
    assert "![](" not in "".join(page.text for page in PAGES)


# --- served


@pytest.fixture(scope="module")
def server() -> Iterator[ThreadingHTTPServer]:
    with guide_server(0, DOCS) as made:
        thread = threading.Thread(target=made.serve_forever, daemon=True)
        thread.start()
        yield made
        made.shutdown()
        thread.join()


def got(server: ThreadingHTTPServer, path: str) -> tuple[bytes, str]:
    with urllib.request.urlopen(f"http://127.0.0.1:{server.server_port}{path}", timeout=10) as answer:
        return answer.read(), answer.headers["Content-Type"]


def test_every_page_and_picture_is_served(server: ThreadingHTTPServer) -> None:
    for page in PAGES:
        body, kind = got(server, f"/{page.name}")
        assert kind.startswith("text/html")
        for target in re.findall(r'(?:href|src)="([^"#]+)', body.decode()):
            if not target.startswith("http"):
                assert got(server, target if target.startswith("/") else f"/{target}")[0], f"{page.name}: {target}"
        assert "http://" not in re.sub(r"<code.*?</code>", "", body.decode(), flags=re.DOTALL)
    assert got(server, "/")[0] == got(server, "/index")[0]


@pytest.mark.parametrize("path", ["/../pyproject.toml", "/%2e%2e/README.md", "/Containerfile", "/nothing"])
def test_nothing_else_is_served(server: ThreadingHTTPServer, path: str) -> None:
    with pytest.raises(urllib.error.HTTPError) as refused:
        got(server, path)
    with refused.value:
        assert refused.value.code == 404


def test_what_looks_like_html_in_a_page_is_shown_not_run() -> None:
    page = type(PAGES[0])("index", "x", "# x\n\n<script>alert(1)</script>\n")
    assert "<script" not in page_html(page, [page])


def test_the_guide_is_found_in_a_checkout() -> None:
    assert guide_folder() == DOCS


def test_the_pictures_show_the_product_as_it_is() -> None:
    """Those that need no browser are made anew and compared; screens are taken by ``python -m tests.pictures``."""
    for path, made in overlays().items():
        with Image.open(path) as kept, Image.open(io.BytesIO(made)) as now:
            assert kept.size == now.size, path
            off = np.abs(np.asarray(kept.convert("RGB"), float) - np.asarray(now.convert("RGB"), float))
            assert off.mean() < 3, f"{path.name} is of an older version: python -m tests.pictures"
