"""Colours of gold, brass, copper, nickel and silver from their optical constants: sanity of what the tool looks at.

A smooth metal in air reflects ((n - 1)² + k²) / ((n + 1)² + k²) at normal incidence (Fresnel). Constants, observer
and daylight: ``data/metal_optics.toml``, sources there. CIELAB by ISO/CIE 11664-4, sRGB by IEC 61966-2-1, warm light
by Planck's law. Expected CIELAB values were computed elsewhere from the same constants at 1 to 5 nm with other
software (colour-science 0.4.7).
"""

from __future__ import annotations

import colorsys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from calibration.scale import GreyPatch
from calibration.white_balance import from_grey_patches, to_linear
from grader.coverage.features import PIXEL_FEATURES, pixel_features
from grader.coverage.unmix import unmix_edges

DATA = tomllib.loads((Path(__file__).parent / "data" / "metal_optics.toml").read_text("utf-8"))
NM = np.array(DATA["wavelengths_nm"], float)
OBSERVER = np.array([DATA["observer"][c] for c in "xyz"])
D65 = np.array(DATA["daylight"]["d65"])
# a black body of 4000 K, warm white lamps; second radiation constant 1.4388e7 nm K (CODATA)
WARM = NM**-5.0 / np.expm1(1.4388e7 / (4000 * NM))
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


def looks(rgb: np.ndarray) -> dict[str, float]:
    """What the classical segmenter's features say of an even patch of a colour in linear light."""
    patch = np.broadcast_to(rgb.astype(np.float32), (32, 32, 3))
    return dict(zip(PIXEL_FEATURES, pixel_features(np.ascontiguousarray(patch), 8.0)[16, 16].tolist(), strict=True))


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


def test_what_the_segmenter_looks_at_parts_gold_from_all_but_brass() -> None:
    seen = {m: looks(linear(reflectance(m))) for m in METALS}
    apart = {
        m: float(np.hypot(seen[m]["red"] - seen["gold"]["red"], seen[m]["blue"] - seen["gold"]["blue"]))
        for m in METALS
        if m != "gold"
    }
    # in stops: a white balance is good to a third of one
    assert apart["nickel"] > 0.6
    assert apart["silver"] > 0.8
    assert apart["copper"] > 0.4
    # brass is no further than gold's own spread between authors and lights: colour must not be asked to decide
    assert apart["brass"] < 0.35
    assert seen["gold"]["blue"] < seen["brass"]["blue"] < seen["nickel"]["blue"]
    assert seen["copper"]["red"] > seen["gold"]["red"]


def test_nickel_in_warm_light_looks_golder_than_gold_until_it_is_balanced() -> None:
    warm = linear(reflectance("nickel"), WARM)
    assert looks(warm)["blue"] < looks(linear(reflectance("gold")))["blue"]
    picture = np.zeros((64, 96, 3), np.uint8)
    patches = []
    for i, grey in enumerate((0.09, 0.18, 0.4)):
        picture[:, 32 * i : 32 * i + 32] = codes(linear(np.full_like(NM, grey), WARM))
        corners = np.array([[4, 4], [27, 4], [27, 59], [4, 59]], float) + np.array([32.0 * i, 0.0])
        patches.append(GreyPatch(grey, corners))
    balance = from_grey_patches(picture, tuple(patches))
    assert balance is not None
    for metal in ("nickel", "gold"):
        balanced = looks(balance.apply(linear(reflectance(metal), WARM).astype(np.float32)))
        day = looks(linear(reflectance(metal)))
        assert balanced["blue"] == pytest.approx(day["blue"], abs=0.25)
        assert balanced["red"] == pytest.approx(day["red"], abs=0.25)
    nickel, gold = (looks(balance.apply(linear(reflectance(m), WARM).astype(np.float32))) for m in ("nickel", "gold"))
    assert nickel["blue"] - gold["blue"] > 0.6


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
