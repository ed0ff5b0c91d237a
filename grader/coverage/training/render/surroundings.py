"""Reflections in polished metal: the phone, the hand, the person, and coloured things beside and above the board."""

from __future__ import annotations

import numpy as np

from .camera import Camera
from .colours import PLASTIC_NAMES
from .light import facing
from .mesh import MaterialMesh, palette_uv, sheet
from .shapes import Array

COLOURS = ("black", "red", "green", "pink", "cream", "white", "bluepart", "orange", "wood", "purple")
COLOURED = 0.45  # share of views with coloured things in front of the mirrored surroundings


def _reflected(camera: Camera, at: Array) -> Array:
    """Unit vector from a point on a board towards the place that it mirrors into the camera."""
    to = camera.position - at
    mirrored = np.array([-to[0], -to[1], to[2]])
    return np.asarray(mirrored / np.linalg.norm(mirrored))


def things(rng: np.random.Generator, camera: Camera, at: Array) -> MaterialMesh:
    """Cards, boxes and balls outside the picture that the board mirrors."""
    made = MaterialMesh()
    if rng.random() > COLOURED:
        return made
    away, straight = _reflected(camera, at), float(np.linalg.norm(camera.position - at))
    for _ in range(int(rng.integers(1, 4))):
        colour = palette_uv(PLASTIC_NAMES.index(str(rng.choice(COLOURS))))
        toward = away + rng.normal(0, 0.22, 3)
        toward[2] = max(toward[2], 0.25)
        far = straight * float(rng.uniform(1.25, 2.5)) + 40  # behind the camera; otherwise it would be in the way
        place = at + toward / np.linalg.norm(toward) * far
        size = far * float(rng.uniform(0.2, 0.9))
        if rng.random() < 0.75:
            card = sheet(facing(place, at), size, size * float(rng.uniform(0.4, 1.2)))
            card.uv = [np.broadcast_to(np.asarray(colour), (card.count, 2))]
            made.take(card)
        else:
            made.ball(place, np.full(3, size / 2), 0, colour)
    return made


def beside(rng: np.random.Generator, camera: Camera, at: Array) -> MaterialMesh:
    """Upright boxes on the table beside the visible area: shallow views mirror them."""
    made = MaterialMesh()
    if rng.random() > 0.35:
        return made
    half = 0.62 * max(camera.width, camera.height) / camera.scale_px_per_mm
    for _ in range(int(rng.integers(1, 4))):
        colour = palette_uv(PLASTIC_NAMES.index(str(rng.choice(COLOURS))))
        way, wide = rng.uniform(0, 2 * np.pi), float(rng.uniform(20, 120))
        x, y = at[:2] + (half * float(rng.uniform(1.1, 1.8)) + wide * 0.8) * np.array([np.cos(way), np.sin(way)])
        high = float(rng.uniform(20, 250))
        if high > 0.7 * camera.position[2] and np.hypot(*(camera.position[:2] - (x, y))) < wide + 60:
            continue
        rect = np.array([[x - wide / 2, y - wide / 2, x + wide / 2, y + wide / 2]])
        made.boxes(rect, np.zeros(1), np.array([high]), np.array([colour]), np.zeros(1))
    return made


def observer(rng: np.random.Generator, camera: Camera) -> MaterialMesh:
    """The phone, the hand that holds it and the person behind: seen in reflections only."""
    right, down, forward = np.asarray(camera.axes)
    at = camera.position
    dark, skin, cloth = (palette_uv(PLASTIC_NAMES.index(n)) for n in ("black", "skin", "cloth"))
    made, phone = MaterialMesh(), MaterialMesh()
    aside, below = float(rng.choice([-1, 1]) * 20), 55.0
    phone.boxes(np.array([[-37.0, -75, 37, 75]]), np.array([-4.0]), np.array([4.0]), np.array([dark]), np.zeros(1))
    phone.flat(np.array([[[-37.0, -75], [37, 75], [37, -75]], [[-37, -75], [-37, 75], [37, 75]]]), -4.0, 0, uv=dark,
               normals=(0, 0, -1))  # fmt: skip
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2] = right, down, forward
    pose[:3, 3] = at - forward * 6 + right * aside + down * below
    phone.moved(pose)
    made.take(phone)
    hand = at + right * aside * 1.2 + down * (below + 45) - forward * 14
    made.ball(hand, (48, 48, 26), 0, skin)
    for k in range(6):
        part = (down * 260 - forward * 60 + right * rng.uniform(-20, 20)) * (k / 5)
        made.ball(hand + part, (38, 38, 38), 0, skin, 8)
    tilt = np.arccos(np.clip(-forward[2], -1, 1))
    back = np.array([-forward[0], -forward[1], 0]) if tilt > 0.08 else np.array([down[0], down[1], 0])
    length = float(np.linalg.norm(back))
    back = back / length if length > 1e-3 else np.array([0, -1.0, 0])
    far = max(float(rng.uniform(330, 480)), float(at[2] * np.tan(np.radians(42) - tilt)) + 215)
    body = np.array([at[0], at[1], 0]) + back * far
    made.ball((body[0], body[1], 80.0), (190, 150, 420), 0, cloth)
    head = [*(at[:2] + back[:2] * rng.uniform(40, 330)), max(560.0, float(at[2]) + float(rng.uniform(150, 300)))]
    made.ball(head, (85, 95, 115), 0, skin)
    return made
