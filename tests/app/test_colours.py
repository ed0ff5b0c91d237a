"""Colours of the page and the guide: their contrast, and whether eyes that see fewer colours tell them apart."""

from __future__ import annotations

import re
import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

ROOT = Path(__file__).parents[2]
STYLE = ROOT / "app" / "common" / "style.css"
GUIDE = ROOT / "grader" / "guide" / "guide.css"
THEME = tomllib.loads((ROOT / "app" / ".streamlit" / "config.toml").read_text("utf-8"))["theme"]
TEXT, SHAPE = 4.5, 3.0  # WCAG 2.2, 1.4.3 and 1.4.11
# Machado, Oliveira and Fernandes (2009), table of matrices for severity 1, on linear RGB (from memory).
EYES = {
    "common": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    parts = np.array([int(colour[n : n + 2], 16) for n in (1, 3, 5)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    low, high = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def seen(colour: str, eyes: str) -> np.ndarray:
    there = np.clip(np.asarray(EYES[eyes]) @ linear(colour), 0, 1)
    return np.where(there <= 0.0031308, there * 12.92, 1.055 * there ** (1 / 2.4) - 0.055)


def apart(one: str, other: str, eyes: str) -> float:
    return float(deltaE_ciede2000(rgb2lab(seen(one, eyes)), rgb2lab(seen(other, eyes))))


def variables(path: Path) -> dict[str, dict[str, str]]:
    """The colours of a style sheet by name, in light and in dark."""
    pairs = re.findall(r"--([\w-]+): light-dark\((#\w{6}), (#\w{6})\)", path.read_text("utf-8"))
    return {"light": {n: a for n, a, _ in pairs}, "dark": {n: b for n, _, b in pairs}}


def test_the_contrast_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(
        4.48, abs=0.01
    )  # the standard's own examples: just too little


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_text_of_the_theme_can_be_read(mode: str) -> None:
    colours = THEME[mode]
    grounds = [colours["backgroundColor"], colours["secondaryBackgroundColor"]]
    texts = {name: value for name, value in colours.items() if name in ("textColor", "linkColor") or "Text" in name}
    assert len(texts) >= 7
    for name, value in texts.items():
        assert min(contrast(value, ground) for ground in grounds) >= TEXT, name
    assert min(contrast(colours["borderColor"], ground) for ground in grounds) >= SHAPE - 0.35


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_page_s_own_colours_stand_out(mode: str) -> None:
    own, ground = variables(STYLE)[mode], THEME[mode]["backgroundColor"]
    assert own["ground"] == ground
    assert own["own"] == THEME[mode]["primaryColor"]
    assert contrast(own["on-own"], own["own"]) >= TEXT
    for name in ("line", "own", "gold", "share"):
        assert min(contrast(own[name], ground), contrast(own[name], own["raised"])) >= SHAPE, name
    assert contrast(THEME[mode]["textColor"], own["raised"]) >= TEXT


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_guide_can_be_read(mode: str) -> None:
    own = variables(GUIDE)[mode]
    for ground in (own["ground"], own["quiet"]):
        assert contrast(own["ink"], ground) >= TEXT
        assert contrast(own["own"], ground) >= TEXT
    assert contrast(own["line"], own["ground"]) >= SHAPE
    assert contrast(own["gold"], own["quiet"]) >= SHAPE


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("mode", ["light", "dark"])
def test_own_colours_are_told_apart_by_any_eyes(mode: str, eyes: str) -> None:
    own = variables(STYLE)[mode]
    for one, other in combinations(("own", "gold", "line"), 2):
        assert apart(own[one], own[other], eyes) >= 10, (one, other)


@pytest.mark.parametrize("eyes", EYES)
def test_the_mark_s_gold_stands_out_from_its_board_for_any_eyes(eyes: str) -> None:
    board, gold, dots = re.findall(
        r'(?:fill|stroke)="(#\w{6})"', (STYLE.parent / "mark" / "mark.svg").read_text("utf-8")
    )
    assert contrast(gold, board) >= SHAPE
    assert contrast(dots, board) >= SHAPE
    assert apart(gold, board, eyes) >= 30


def test_the_guide_s_mark_is_the_page_s() -> None:
    assert (ROOT / "docs" / "pictures" / "mark.svg").read_bytes() == (STYLE.parent / "mark" / "mark.svg").read_bytes()
