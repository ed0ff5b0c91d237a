"""Triangles with normals, texture coordinates and the class number of each face, gathered by material."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from .engine import mi
from .shapes import Array, Flat, Rect, polygons, rect_triangles

UP = (0.0, 0.0, 1.0)
PALETTE = 64


def palette_uv(entry: int) -> tuple[float, float]:
    """Texture coordinates of an entry in a palette picture of ``PALETTE`` × 1 texels."""
    return (entry + 0.5) / PALETTE, 0.5


class MaterialMesh:
    """Triangles of one material.

    Codes are 16 × board number + class number.
    """

    def __init__(self) -> None:
        self.vertices: list[Array] = []
        self.normals: list[Array] = []
        self.uv: list[Array] = []
        self.faces: list[Array] = []
        self.codes: list[Array] = []
        self.count = 0

    def add(self, vertices: Array, normals: Any, uv: Any, faces: Array, codes: Any) -> None:
        """Add triangles; normals, texture coordinates and codes may be one for all."""
        n = len(vertices)
        self.vertices.append(vertices)
        self.normals.append(np.broadcast_to(np.asarray(normals, float), (n, 3)))
        self.uv.append(np.broadcast_to(np.asarray(uv, float), (n, 2)))
        self.faces.append(faces + self.count)
        self.codes.append(np.broadcast_to(np.asarray(codes, np.uint32), (len(faces),)))
        self.count += n

    def soup(self, corners: Array, normals: Any, uv: Any, codes: Any) -> None:
        """Add loose triangles (n, 3, 3)."""
        self.add(corners.reshape(-1, 3), normals, uv, np.arange(3 * len(corners)).reshape(-1, 3), codes)

    def flat(self, triangles: Array, z: Any, code: int, size: Any = None, uv: Any = None, normals: Any = UP) -> None:
        """Add plane triangles (n, 3, 2) at a height; texture coordinates from the board's size unless given."""
        points = triangles.reshape(-1, 2)
        heights = np.broadcast_to(np.asarray(z, float), (len(points),))
        self.soup(np.c_[points, heights].reshape(-1, 3, 3), normals, points / size if uv is None else uv, code)

    def walls(self, rings: Sequence[Any], z0: float, z1: float, code: int, size: Any = None, uv: Any = None) -> None:
        """Add upright walls along closed rings; their outside is to the right of the way."""
        for ring in rings:
            c = np.asarray(ring.coords)
            a, b = c[:-1], c[1:]
            along = b - a
            out = np.c_[along[:, 1], -along[:, 0], np.zeros(len(a))]
            out /= np.linalg.norm(out, axis=1, keepdims=True) + 1e-12
            low, high = np.full(len(a), z0), np.full(len(a), z1)
            quad = np.stack([np.c_[a, low], np.c_[b, low], np.c_[b, high], np.c_[a, high]], 1).reshape(-1, 3)
            i = np.arange(len(a))[:, None] * 4
            faces = np.concatenate([i + [0, 1, 2], i + [0, 2, 3]])
            self.add(quad, np.repeat(out, 4, 0), quad[:, :2] / size if uv is None else uv, faces, code)

    def boxes(self, rects: Array, z0: Array, z1: Array, uv: Array, codes: Array) -> None:
        """Add boxes without bottoms: rectangles (n, 4), heights (n,), texture coordinates (n, 2), codes (n,)."""
        r = np.asarray(rects, float).reshape(-1, 4)
        if not len(r):
            return
        triangles = rect_triangles(r)
        top = np.c_[triangles.reshape(-1, 2), np.repeat(z1, 6)].reshape(-1, 3, 3)
        self.soup(top, UP, np.repeat(uv, 6, 0), np.repeat(codes, 2))
        corner = np.stack([r[:, [0, 1]], r[:, [2, 1]], r[:, [2, 3]], r[:, [0, 3]]], 1)
        for k, out in enumerate(((0, -1, 0), (1, 0, 0), (0, 1, 0), (-1, 0, 0))):
            a, b = corner[:, k], corner[:, (k + 1) % 4]
            quad = np.stack([np.c_[a, z0], np.c_[b, z0], np.c_[b, z1], np.c_[a, z1]], 1).reshape(-1, 3)
            i = np.arange(len(r))[:, None] * 4
            faces = np.concatenate([i + [0, 1, 2], i + [0, 2, 3]])
            self.add(quad, out, np.repeat(uv, 4, 0), faces, np.tile(codes, 2))

    def prism(self, shape: Any, z0: float, z1: float, code: int, uv: Any) -> None:
        """Add a shape with walls, without its bottom."""
        layer = Flat()
        layer.shapes.append(shape)
        self.flat(layer.triangles()[0], z1, code, uv=uv)
        for part in polygons(shape):
            p = shapely.geometry.polygon.orient(part)
            self.walls([p.exterior, *p.interiors], z0, z1, code, uv=uv)

    def rod(self, rect: Rect, z: float, code: int, uv: Any, sides: int = 12) -> None:
        """Add a round rod along x as wide as the rectangle is high."""
        x0, y0, x1, y1 = rect
        r, y = (y1 - y0) / 2, (y0 + y1) / 2
        t = np.linspace(0, 2 * np.pi, sides + 1)
        round_ = np.c_[np.zeros(sides + 1), np.cos(t), np.sin(t)]
        skin = np.concatenate([round_ * r + (x, y, z) for x in (x0, x1)])
        i, m = np.arange(sides)[:, None], sides + 1
        self.add(skin, np.tile(round_, (2, 1)), uv, np.concatenate([i + [0, 1, m + 1], i + [0, m + 1, m]]), code)
        for x, side in ((x0, -1), (x1, 1)):
            end = np.r_[[[x, y, z]], round_[:-1] * r + (x, y, z)]
            faces = np.c_[np.zeros((sides, 1), int), i + 1, (i + 1) % sides + 1]
            self.add(end, (side, 0, 0), uv, faces, code)

    def ball(self, centre: Any, radii: Any, code: int, uv: Any, rings: int = 12) -> None:
        """Add an ellipsoid."""
        u, v = np.meshgrid(np.linspace(0, 2 * np.pi, 2 * rings + 1), np.linspace(0, np.pi, rings + 1))
        unit = np.stack([np.cos(u) * np.sin(v), np.sin(u) * np.sin(v), np.cos(v)], -1).reshape(-1, 3)
        row = 2 * rings + 1
        i = (np.arange(rings)[:, None] * row + np.arange(2 * rings)).reshape(-1, 1)
        faces = np.concatenate([i + [0, row, row + 1], i + [0, row + 1, 1]])
        normals = unit / np.asarray(radii, float)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        self.add(unit * radii + centre, normals, uv, faces, code)

    def moved(self, pose: Array) -> None:
        """Apply a pose (4 × 4) to everything added so far."""
        if self.count:
            self.vertices = [np.concatenate(self.vertices) @ pose[:3, :3].T + pose[:3, 3]]
            self.normals = [np.concatenate(self.normals) @ pose[:3, :3].T]
            self.uv = [np.concatenate(self.uv)]

    def take(self, other: MaterialMesh) -> None:
        """Add the contents of another group."""
        self.vertices += other.vertices
        self.normals += other.normals
        self.uv += other.uv
        self.faces += [f + self.count for f in other.faces]
        self.codes += other.codes
        self.count += other.count

    def build(self, name: str, material: Any, light: Any = None) -> tuple[Any, Array]:
        """The mesh and the code of each of its faces."""
        v, n, t, f = (np.concatenate(a) for a in (self.vertices, self.normals, self.uv, self.faces))
        if not len(v) == len(n) == len(t):
            raise ValueError(f"{name}: {len(v)} vertices, {len(n)} normals, {len(t)} texture coordinates")
        across = np.cross(v[f[:, 1]] - v[f[:, 0]], v[f[:, 2]] - v[f[:, 0]])
        flip = (across * n[f[:, 0]]).sum(1) < 0  # the faces' own normals must agree with those for shading
        f[flip] = f[flip][:, ::-1]
        props = mi.Properties()
        props["mesh_bsdf"] = material
        if light is not None:
            props["mesh_emitter"] = light
        mesh = mi.Mesh(name, len(v), len(f), has_vertex_normals=True, has_vertex_texcoords=True, props=props)
        params = mi.traverse(mesh)
        params["vertex_positions"], params["vertex_normals"] = (a.astype(np.float32).ravel() for a in (v, n))
        params["vertex_texcoords"], params["faces"] = t.astype(np.float32).ravel(), f.astype(np.uint32).ravel()
        params.update()
        return mesh, np.concatenate(self.codes)


def sheet(pose: Array, width: float, height: float, code: int = 0) -> MaterialMesh:
    """A rectangle about the origin of a pose, facing its z; texture coordinates from 0 to 1."""
    made = MaterialMesh()
    corners = rect_triangles([(-width / 2, -height / 2, width / 2, height / 2)])
    made.flat(corners, 0.0, code, uv=(corners.reshape(-1, 2) + (width / 2, height / 2)) / (width, height))
    made.moved(np.asarray(pose, float))
    return made
