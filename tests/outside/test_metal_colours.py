"""Colours of gold, brass, copper, nickel and silver from their optical constants: sanity of what the tool looks at.

A smooth metal in air reflects ((n - 1)² + k²) / ((n + 1)² + k²) at normal incidence (Fresnel). Constants, observer
and daylight: ``data/metal_optics.toml``, sources there. CIELAB by ISO/CIE 11664-4, sRGB by IEC 61966-2-1. Expected
CIELAB values were computed elsewhere from the same constants at 1 to 5 nm with other software (colour-science 0.4.7).
"""

from __future__ import annotations

import colorsys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from calibration.linear_light import to_linear
from grader.coverage.unmix import unmix_edges

DATA = tomllib.loads((Path(__file__).parent / "data" / "metal_optics.toml").read_text("utf-8"))
NM = np.array(DATA["wavelengths_nm"], float)
OBSERVER = np.array([DATA["observer"][c] for c in "xyz"])
D65 = np.array(DATA["daylight"]["d65"])
TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
METALS = tuple(DATA["metal"])
# CIELAB under D65, 2°; gold of other authors: Olmon 91.7 1.5 38.9, McPeak 92.1 1.5 38.6, Babar 91.7 1.6 41.9
LAB = {
    "gold": (90.22, 5.03, 33.81),
    "copper": (86.06, 11.85, 13.06),
    "nickel": (84.33, 0.76, 6.77),
    "silver": (99.40, 0.08, 0.42),
    "brass": (90.81, -2.53, 28.62),
}
GOLD_HUES_DEG = (81.5, 87.8)  # over four authors' constants
NICKEL_HUES_DEG = (83.6, 89.1)  # over two


def reflectance(metal: str) -> np.ndarray:
    n, k = (np.array(DATA["metal"][metal][key]) for key in ("n", "k"))
    return np.asarray(((n - 1) ** 2 + k**2) / ((n + 1) ** 2 + k**2))


def xyz(spectrum: np.ndarray, light: np.ndarray) -> np.ndarray:
    return np.asarray(OBSERVER @ (spectrum * light) / (OBSERVER[1] @ light))


def lab(metal: str) -> np.ndarray:
    ratio = xyz(reflectance(metal), D65) / xyz(np.ones_like(NM), D65)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def linear(spectrum: np.ndarray, light: np.ndarray = D65, exposure: float = 0.6) -> np.ndarray:
    """Linear sRGB as a camera set to daylight sees a surface under a light."""
    return np.asarray(np.clip(exposure * TO_SRGB @ xyz(spectrum, light), 1e-4, 1))


def codes(rgb: np.ndarray) -> np.ndarray:
    encoded = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * rgb ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * encoded), np.uint8)


@pytest.mark.parametrize("metal", METALS)
def test_colours_follow_from_the_optical_constants(metal: str) -> None:
    # steps of 20 nm blur the edges of spectra: within one unit, a just noticeable difference
    assert np.linalg.norm(lab(metal) - LAB[metal]) < 1.5


def test_hue_alone_cannot_tell_nickel_from_gold() -> None:
    hues = {m: float(np.degrees(np.arctan2(LAB[m][2], LAB[m][1]))) for m in METALS}
    own = {m: float(np.degrees(np.arctan2(lab(m)[2], lab(m)[1]))) for m in METALS}
    assert abs(own["gold"] - own["nickel"]) < 5
    assert abs(hues["gold"] - hues["nickel"]) < GOLD_HUES_DEG[1] - GOLD_HUES_DEG[0]
    # any band of hue that takes in all of gold takes in nickel
    assert GOLD_HUES_DEG[0] < NICKEL_HUES_DEG[0] < GOLD_HUES_DEG[1]
    # and so does the hue of the picture's own codes: nickel lies nearer to gold than two gold-coloured metals do
    code = {m: 360 * colorsys.rgb_to_hsv(*(codes(linear(reflectance(m))) / 255))[0] for m in METALS}
    assert abs(code["nickel"] - code["gold"]) < abs(code["brass"] - code["gold"])
    assert abs(code["nickel"] - code["gold"]) < 10


def test_chroma_orders_the_metals() -> None:
    chroma = {m: float(np.hypot(*lab(m)[1:])) for m in METALS}
    assert chroma["gold"] > chroma["brass"] > chroma["copper"] > 2 * chroma["nickel"] > 2 * chroma["silver"]


@pytest.mark.parametrize("beside", ["nickel", "copper", "silver"])
def test_an_edge_of_gold_beside_another_metal_is_unmixed_to_its_share(beside: str) -> None:
    """Gold beside a metal of nearly its own lightness: 12.4 px wide contacts keep their width."""
    share = np.clip(18.2 - np.abs(np.arange(60) - 29.5) - 12.0, 0, 1)
    row = share[:, None] * linear(reflectance("gold")) + (1 - share[:, None]) * linear(reflectance(beside))
    picture = np.broadcast_to(codes(row)[None], (40, 60, 3))
    mask = np.broadcast_to((share > 0.4)[None], (40, 60))
    found = unmix_edges(np.ascontiguousarray(picture), np.ascontiguousarray(mask), 12.0)
    assert found[20].sum() / 255 == pytest.approx(share.sum(), abs=0.12)
    assert to_linear(np.ascontiguousarray(picture)).max() < 1
