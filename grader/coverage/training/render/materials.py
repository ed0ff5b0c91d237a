"""Materials: plastics, metals and matt surfaces.

They are always made from pictures, so that kernels stay the same from scene to scene.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .colours import INDEX, PLASTIC_NAMES, PLASTICS
from .engine import mi
from .mesh import PALETTE
from .shapes import Array

COVER, WEAVE = 10, 2.0  # tiles that a board's reflectance covers; repeats of the laminate's weave in a tile
FLAT = np.full((1, 1, 3), (0.5, 0.5, 1.0), np.float32)


def rgb(colour: Any) -> dict[str, Any]:
    """A colour for a material."""
    return {"type": "rgb", "value": [float(v) for v in np.broadcast_to(colour, 3)]}


def picture(values: Any, repeats: float = 1.0, nearest: bool = False) -> dict[str, Any]:
    """A picture (h, w, channels) of linear values as a texture, repeated this often per unit of its coordinates.

    The factor becomes part of the kernel: use only a few factors, always the same ones.
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
    """A material seen through a picture of normals: a texture, or ``None`` for a smooth one."""
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
