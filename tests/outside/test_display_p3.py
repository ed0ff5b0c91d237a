"""Colours of a Display P3 photo in sRGB, against the published primaries of both spaces.

Sources: SMPTE EG 432-1 (P3 primaries) with D65 white and the transfer curve of sRGB, as Display P3 is defined;
IEC 61966-2-1 (sRGB primaries and curve); ICC.1:2001-04 (profile layout, D50 connection space); Bradford adaptation.
Chromaticities from memory.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image

from grader.photo import load_photo

P3 = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
SRGB = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
D65 = (0.3127, 0.3290)
D50_XYZ = np.array([0.9642, 1.0, 0.8249])
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def _xyz(xy: tuple[float, float]) -> np.ndarray:
    return np.array([xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]])


def _rgb_to_xyz(primaries: tuple[tuple[float, float], ...]) -> np.ndarray:
    columns = np.stack([_xyz(p) for p in primaries], axis=1)
    return columns * np.linalg.solve(columns, _xyz(D65))


def _linear(v: np.ndarray) -> np.ndarray:
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def _coded(v: np.ndarray) -> np.ndarray:
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)


def _p3_profile() -> bytes:
    """A matrix and curve profile, version 2, built from the chromaticities above."""
    adapt = np.linalg.inv(BRADFORD) @ np.diag((BRADFORD @ D50_XYZ) / (BRADFORD @ _xyz(D65))) @ BRADFORD
    colorants = (adapt @ _rgb_to_xyz(P3)).T

    def xyz_tag(xyz: np.ndarray) -> bytes:
        return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(v) * 65536) for v in xyz))

    curve = np.round(_linear(np.linspace(0, 1, 1024)) * 65535).astype(">u2")
    tags = {
        b"desc": b"desc\0\0\0\0" + struct.pack(">I", 3) + b"P3\0" + bytes(78),
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": xyz_tag(D50_XYZ),
        **{k: xyz_tag(v) for k, v in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants, strict=True)},
        **dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), b"curv\0\0\0\0" + struct.pack(">I", 1024) + curve.tobytes()),
    }
    table, body = struct.pack(">I", len(tags)), b""
    for name, tag in tags.items():
        table += name + struct.pack(">II", 128 + 4 + 12 * len(tags) + len(body), len(tag))
        body += tag + bytes(-len(tag) % 4)
    head = struct.pack(">I4sI4s4s4s", 128 + len(table + body), b"none", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    head += struct.pack(">3i", *(round(float(v) * 65536) for v in D50_XYZ))
    return head.ljust(128, b"\0") + table + body


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_display_p3_becomes_srgb(kind):
    levels = np.array([[r, g, b] for r in (60, 130, 200) for g in (70, 140, 210) for b in (50, 120, 190)], np.uint8)
    expected = np.linalg.solve(_rgb_to_xyz(SRGB), _rgb_to_xyz(P3) @ _linear(levels.T / 255.0)).T
    expected = np.round(255 * _coded(np.clip(expected, 0, 1)))
    assert np.abs(expected - levels).max() > 20  # so that leaving the profile aside would be seen

    flat = np.repeat(np.repeat(levels.reshape(3, 9, 3), 32, axis=0), 32, axis=1)  # whole JPEG blocks of one colour
    file = io.BytesIO()
    how = {"quality": 100, "subsampling": 0} if kind == "JPEG" else {}
    Image.fromarray(flat).save(file, kind, icc_profile=_p3_profile(), **how)
    seen = load_photo(file.getvalue()).rgb[16::32, 16::32].reshape(-1, 3)
    assert np.abs(seen - expected).max() <= (2 if kind == "PNG" else 4)
