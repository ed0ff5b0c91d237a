"""The guide's pages: Markdown files in the order in which the first one links to them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from calibration.errors import UsageError

FIRST = "index"
_LINK = re.compile(r"\]\((?P<name>[\w-]+)\.md\)")
_TITLE = re.compile(r"^# (?P<title>.+)$", re.MULTILINE)


@dataclass(frozen=True)
class GuidePage:
    """One page.

    Attributes:
        name: of its file without the ending; also its address.
        title: its heading.
        text: Markdown.
    """

    name: str
    title: str
    text: str


def guide_folder() -> Path:
    """Folder of the guide: in the installed package, or beside it in a checkout.

    Raises:
        UsageError: ``guide-missing``.
    """
    package = Path(str(resources.files("grader")))
    for folder in (package / "guide" / "docs", package.parent / "docs"):
        if (folder / f"{FIRST}.md").is_file():
            return folder
    raise UsageError("guide-missing", "The guide is not installed.", "Install the program again.")


def guide_pages(folder: Path | None = None) -> tuple[GuidePage, ...]:
    """The guide's pages: the first one, then those that it links to, in that order.

    Raises:
        UsageError: as ``guide_folder``.
    """
    place = guide_folder() if folder is None else folder
    first = _page(place, FIRST)
    names = dict.fromkeys(found["name"] for found in _LINK.finditer(first.text))
    return (first, *(_page(place, name) for name in names if (place / f"{name}.md").is_file()))


def _page(folder: Path, name: str) -> GuidePage:
    text = (folder / f"{name}.md").read_text("utf-8")
    title = _TITLE.search(text)
    return GuidePage(name, title["title"] if title else name, text)
