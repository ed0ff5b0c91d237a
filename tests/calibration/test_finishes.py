"""A finish is data: whatever stands in ``finishes.toml`` has its figures and its look."""

from __future__ import annotations

import re
from importlib import resources
from typing import get_args

import pytest

from calibration.finishes import FINISH_HATCH, FINISH_RGB, FINISH_WORDS, FINISHES, Hatch
from calibration.thickness import gold_properties


def test_each_finish_has_figures() -> None:
    assert set(gold_properties()) == set(FINISHES)


@pytest.mark.parametrize("look", [FINISH_WORDS, FINISH_RGB, FINISH_HATCH])
def test_no_two_finishes_look_alike(look: dict[str, object]) -> None:
    assert len({look[f] for f in FINISHES}) == len(FINISHES)


def test_the_page_draws_every_hatch() -> None:
    web = resources.files("app").joinpath("photo_view", "web")
    drawn, styled = web.joinpath("overlay.js").read_text("utf-8"), web.joinpath("view.css").read_text("utf-8")
    for hatch in get_args(Hatch):
        assert re.search(rf"^  {hatch}: \(ctx\)", drawn, re.MULTILINE), hatch
        assert f".chip.{hatch} " in styled, hatch
