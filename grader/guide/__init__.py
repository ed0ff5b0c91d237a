"""The user's guide as it comes with the program: its pages, and how they are shown without a network."""

from __future__ import annotations

from grader.guide.pages import GuidePage, guide_folder, guide_pages
from grader.guide.render import page_html
from grader.guide.serve import guide_server

__all__ = ["GuidePage", "guide_folder", "guide_pages", "guide_server", "page_html"]
