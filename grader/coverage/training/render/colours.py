"""Colours and metals, read from ``colours.toml``."""

from __future__ import annotations

from typing import Any

from calibration.packaged import packaged_toml

_READ: dict[str, Any] = packaged_toml(__package__, "colours.toml")

Colour = tuple[float, float, float]


def _colour(values: list[float]) -> Colour:
    red, green, blue = values
    return red, green, blue


# reflectance over bare laminate and over copper
MASKS: dict[str, tuple[Colour, Colour]] = {k: (_colour(v[0]), _colour(v[1])) for k, v in _READ["masks"].items()}
RARE_MASKS: tuple[str, ...] = tuple(_READ["rare_masks"]["names"])
LAMINATES: list[list[float]] = _READ["laminates"]["colours"]
LAMINATE_SHARES: list[float] = _READ["laminates"]["shares"]
FILMS: list[list[float]] = _READ["films"]["colours"]
PRINT: dict[str, Colour] = {k: _colour(v) for k, v in _READ["print"].items()}
# colour and spread
PLASTICS: dict[str, tuple[Colour, float]] = {
    k: (_colour(v["colour"]), v["spread"]) for k, v in _READ["plastics"].items()
}
PLASTIC_NAMES = tuple(PLASTICS)
# index, roughness, reflectance on top, class
METALS: dict[str, tuple[str, float, Colour, str]] = {
    k: (v["index"], v["roughness"], _colour(v["top"]), v["class"]) for k, v in _READ["part_metals"].items()
}
# index, reflectance on top, class
LOOSE: dict[str, tuple[str, Colour, str]] = {
    k: (v["index"], _colour(v["top"]), v["class"]) for k, v in _READ["loose_metals"].items()
}
# real and imaginary part at red, green, blue
INDEX: dict[str, tuple[Colour, Colour]] = {k: (_colour(v[0]), _colour(v[1])) for k, v in _READ["index"].items()}
