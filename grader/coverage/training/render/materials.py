"""Materials: plastics, metals and matt surfaces.

Always from pictures, so that kernels stay the same from scene to scene.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .engine import mi
from .mesh import PALETTE
from .shapes import Array

# reflectance of solder masks over bare laminate and over copper, linear red, green, blue
MASKS: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "green": ((0.012, 0.085, 0.030), (0.030, 0.165, 0.050)),
    "darkgreen": ((0.008, 0.045, 0.020), (0.018, 0.085, 0.033)),
    "blue": ((0.010, 0.032, 0.165), (0.022, 0.070, 0.270)),
    "red": ((0.215, 0.010, 0.012), (0.350, 0.030, 0.022)),
    "black": ((0.010, 0.010, 0.011), (0.020, 0.020, 0.021)),
    "white": ((0.700, 0.710, 0.690), (0.780, 0.770, 0.730)),
    "purple": ((0.060, 0.012, 0.105), (0.120, 0.032, 0.165)),
    "olive": ((0.075, 0.120, 0.022), (0.150, 0.190, 0.045)),
    "tan": ((0.42, 0.29, 0.13), (0.50, 0.33, 0.15)),
    "cream": ((0.66, 0.58, 0.40), (0.70, 0.60, 0.40)),
    "orange": ((0.55, 0.22, 0.03), (0.62, 0.27, 0.05)),
    "yellow": ((0.58, 0.44, 0.05), (0.64, 0.48, 0.07)),
    "brown": ((0.14, 0.065, 0.025), (0.22, 0.10, 0.04)),
    "grey": ((0.22, 0.22, 0.22), (0.30, 0.29, 0.28)),
    "none": ((0.400, 0.310, 0.150), (0.400, 0.310, 0.150)),
}
HARD_MASKS = ("tan", "cream", "orange", "yellow", "brown", "grey")

# parts' plastics, linear red, green, blue, and how much each wanders
PLASTICS: dict[str, tuple[tuple[float, float, float], float]] = {
    "black": ((0.032, 0.032, 0.032), 0.4),
    "ceramic": ((0.26, 0.225, 0.205), 0.25),
    "tan": ((0.45, 0.33, 0.20), 0.15),
    "brown": ((0.16, 0.075, 0.035), 0.2),
    "resistor": ((0.02, 0.02, 0.02), 0.3),
    "ochre": ((0.78, 0.47, 0.045), 0.12),
    "white": ((0.75, 0.74, 0.70), 0.06),
    "beige": ((0.68, 0.58, 0.38), 0.1),
    "bluepart": ((0.08, 0.20, 0.38), 0.2),
    "red": ((0.50, 0.05, 0.03), 0.2),
    "green": ((0.04, 0.22, 0.07), 0.3),
    "goldpaint": ((0.50, 0.33, 0.07), 0.1),
    "paper": ((0.78, 0.77, 0.75), 0.05),
    "yellowpaper": ((0.80, 0.60, 0.10), 0.12),
    "kraft": ((0.46, 0.30, 0.16), 0.2),
    "ink": ((0.03, 0.03, 0.03), 0.2),
    "mark": ((0.45, 0.45, 0.45), 0.3),
    "dimple": ((0.012, 0.012, 0.012), 0.2),
    "skin": ((0.34, 0.21, 0.145), 0.4),
    "cloth": ((0.15, 0.15, 0.15), 2.2),
    "pink": ((0.75, 0.25, 0.35), 0.2),
    "cream": ((0.75, 0.66, 0.45), 0.1),
    "orange": ((0.70, 0.25, 0.04), 0.2),
    "purple": ((0.18, 0.05, 0.30), 0.3),
    "wood": ((0.36, 0.20, 0.09), 0.3),
    "amber": ((0.55, 0.25, 0.03), 0.2),
}
PLASTIC_NAMES = tuple(PLASTICS)
# parts' metals: complex index by name or as colours, roughness, reflectance on top, class
METALS: dict[str, tuple[str, float, tuple[float, float, float], str]] = {
    "tinlead": ("Ag", 0.28, (0.72, 0.72, 0.73), "part"),
    "alu": ("Al", 0.12, (0.92, 0.92, 0.92), "part"),
    "steel": ("Cr", 0.16, (1.0, 1.0, 0.98), "part"),
    "brass": ("brass", 0.18, (0.95, 0.95, 0.95), "brass"),
    "goldlead": ("Au", 0.16, (0.97, 0.95, 0.9), "unknown"),
    "goldfoil": ("brass", 0.3, (1.0, 0.92, 0.75), "part"),
    "coppercoil": ("Cu", 0.22, (0.95, 0.85, 0.75), "part"),
}
# two metals that have no entry in the renderer's tables: real and imaginary index at red, green, blue
INDEX = {"brass": ((0.444, 0.527, 1.094), (3.695, 2.765, 1.829)), "nickel": ((2.0, 1.72, 1.6), (3.8, 3.2, 2.7))}
COVER, WEAVE = 10, 2.0  # tiles that a board's reflectance covers; repeats of the laminate's weave in a tile
FLAT = np.full((1, 1, 3), (0.5, 0.5, 1.0), np.float32)


def rgb(colour: Any) -> dict[str, Any]:
    """A colour for a material."""
    return {"type": "rgb", "value": [float(v) for v in np.broadcast_to(colour, 3)]}


def picture(values: Any, repeats: float = 1.0, nearest: bool = False) -> dict[str, Any]:
    """A picture (h, w, channels) of linear values as a texture that repeats so often in a unit of its coordinates.

    The factor becomes part of the kernel: only few and always the same may be used.
    """
    made: dict[str, Any] = {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.require(values, np.float32, ["C", "W"])),
        "raw": True,
        "filter_type": "nearest" if nearest else "bilinear",
    }
    if repeats != 1:
        made["to_uv"] = mi.ScalarTransform3f().scale([repeats, repeats])
    return made


def single(colour: Any) -> Array:
    """A picture of one pixel."""
    return np.broadcast_to(np.asarray(colour, np.float32), 3).reshape(1, 1, 3)


def bumpy(material: dict[str, Any], normals: Any) -> dict[str, Any]:
    """A material seen through a picture of normals: a texture, or ``None`` for none."""
    return {"type": "normalmap", "normalmap": picture(FLAT) if normals is None else normals, "bsdf": material}


def lacquer(colour: dict[str, Any], roughness: float) -> dict[str, Any]:
    """Glossy plastic, lacquer or varnish."""
    return {
        "type": "roughplastic", "distribution": "ggx", "alpha": float(roughness), "int_ior": 1.5, "nonlinear": True,
        "diffuse_reflectance": colour,
    }  # fmt: skip


def matt(colour: dict[str, Any]) -> dict[str, Any]:
    """A surface without gloss."""
    return {"type": "diffuse", "reflectance": colour}


def metal(kind: str, roughness: Any, reflectance: Any) -> dict[str, Any]:
    """A metal of measured index under a roughness and a reflectance, each a texture or numbers."""
    rough = roughness if isinstance(roughness, dict) else picture(np.full((1, 1, 1), roughness, np.float32))
    top = reflectance if isinstance(reflectance, dict) else picture(single(reflectance))
    made = {"type": "roughconductor", "distribution": "ggx", "alpha": rough, "specular_reflectance": top}
    if kind in INDEX:
        made.update(eta=rgb(INDEX[kind][0]), k=rgb(INDEX[kind][1]))
    else:
        made["material"] = kind
    return made


def palette(rng: np.random.Generator, extra: dict[str, Any] | None = None) -> Array:
    """Colours of parts for one scene: (1, ``PALETTE``, 3)."""
    made = np.zeros((1, PALETTE, 3), np.float32)
    for i, (colour, spread) in enumerate(PLASTICS.values()):
        level = np.exp(rng.normal(0, spread * 0.6))
        made[0, i] = np.clip(np.array(colour) * level * np.exp(rng.normal(0, 0.15 * spread, 3)), 0.003, 0.9)
    for name, colour in (extra or {}).items():
        made[0, PLASTIC_NAMES.index(name)] = colour
    return made


def plating(kind: str, normals: Any, roughness: Any, reflectance: Any) -> dict[str, Any]:
    """A metal layer of a board from tiles of normals and roughness and a picture of its reflectance.

    Texture coordinates count tiles; the reflectance covers ``COVER`` tiles.
    """
    return bumpy(metal(kind, picture(roughness), picture(reflectance, 1 / COVER)), picture(normals))


def every_kind() -> list[dict[str, Any]]:
    """One material of each kind: a scene that holds them all shares its kernels with every other scene."""
    colour, one = picture(single(0.5)), np.full((1, 1, 1), 0.3, np.float32)
    return [
        bumpy(lacquer(colour, 0.2), None),
        plating("Au", FLAT, one, single(1.0)),
        plating("brass", FLAT, one, single(1.0)),
        lacquer(colour, 0.2),
        lacquer(picture(single(0.5), WEAVE), 0.2),
        lacquer(picture(single(0.5), nearest=True), 0.2),
        matt(colour),
        matt(picture(single(0.5), nearest=True)),
        metal("Ag", 0.2, 0.7),
        metal("brass", 0.2, 0.7),
    ]
