"""Damage that a decoder passes over: refused where the bytes show it, told where only the pixels do."""

from __future__ import annotations

import io
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import simplejpeg
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from calibration.errors import PhotoError
from grader.photo import Photo, load_photo
from grader.photo.damage import damage_notices, signs

SAMPLES = Path(__file__).parents[3] / "sample_images"
SEEN = "photo-looks-damaged"


@pytest.fixture(scope="module")
def board() -> np.ndarray:
    """A sample photo at a megapixel, uint8 (h, w, 3)."""
    rgb = load_photo(SAMPLES / "memory-modules.jpg").rgb
    scale = (1e6 / (rgb.shape[0] * rgb.shape[1])) ** 0.5
    return np.asarray(cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))


def load_or_none(data: bytes) -> Photo | None:
    try:
        return load_photo(data)
    except PhotoError:
        return None


def overwrite(data: bytes, at: int, by: bytes) -> bytes:
    return data[:at] + by + data[at + len(by) :]


def told(photo: Photo) -> set[str]:
    return {n.code for n in photo.notices}


# --- what the bytes show


@pytest.mark.parametrize("how", [{"quality": 80}, {"quality": 80, "tile_size": 512}, {"quality": -1}])
@pytest.mark.parametrize("length", [16, 512, 4096])
def test_a_heic_with_a_stretch_of_zeros_is_refused(board: np.ndarray, encode: Any, how: Any, length: int) -> None:
    data = encode(board, "HEIF", **how)
    assert load_photo(data).notices == ()
    media = data.index(b"mdat") + 200
    for at in np.linspace(media, len(data) - length - 1, 10).astype(int):
        assert load_or_none(overwrite(data, int(at), bytes(length))) is None


@pytest.mark.parametrize("how", [{"compression": "packbits"}, {"compression": "packbits", "strip_size": 1 << 30}])
def test_packed_strips_of_another_length_are_refused(board: np.ndarray, encode: Any, how: Any) -> None:
    data = encode(board, "TIFF", **how)
    assert np.array_equal(load_photo(data).rgb, board)
    rng = np.random.default_rng(3)
    for at in rng.integers(1000, len(data) - 3000, 20):
        assert load_or_none(overwrite(data, int(at), rng.bytes(2000))) is None


@pytest.mark.parametrize("order", ["pixels last", "directory last"])
def test_a_tiff_that_something_was_put_into(board: np.ndarray, encode: Any, order: str) -> None:
    if order == "pixels last":
        data = encode(board, "TIFF", dpi=(300, 300), description="x" * 60)
    else:
        data = cv2.imencode(".tif", board, [cv2.IMWRITE_TIFF_COMPRESSION, 1])[1].tobytes()
    assert told(load_photo(data)) == set()
    longer = data[: len(data) // 2] + b"\r" * 64 + data[len(data) // 2 :]
    changed = load_or_none(longer)
    assert changed is None or "photo-bytes-left-over" in told(changed)


def test_short_strips_are_refused(board: np.ndarray, encode: Any) -> None:
    data = bytearray(encode(board, "TIFF", strip_size=1 << 30))
    count = (board.size).to_bytes(4, "little")
    at = data.index(count)
    data[at : at + 4] = (board.size - 3 * board.shape[1]).to_bytes(4, "little")
    assert load_or_none(bytes(data)) is None


# --- what the pixels show


@pytest.mark.parametrize(
    ("kind", "how", "length"),
    [("HEIF", {"quality": 80}, 200), ("WEBP", {"quality": 85}, 200), ("WEBP", {"lossless": True, "method": 0}, 1)],
)
def test_most_damage_that_is_decoded_is_told(
    board: np.ndarray, encode: Any, kind: str, how: Any, length: int
) -> None:
    """Random bytes at random places; counted where more than a twentieth of the picture changed visibly."""
    data = encode(board, kind, **how)
    sound = load_photo(data).rgb.astype(np.int16)
    rng = np.random.default_rng(8)
    found = []
    for at in rng.integers(len(data) // 10, len(data) * 3 // 4, 14 if length > 1 else 30):
        photo = load_or_none(overwrite(data, int(at), rng.bytes(length)))
        if photo is not None and (np.abs(photo.rgb - sound).max(axis=2) > 8).mean() > 0.05:
            found.append(SEEN in told(photo))
    assert len(found) >= 8
    assert np.mean(found) >= 0.8


@settings(max_examples=15, deadline=None)
@given(st.floats(0.1, 0.9), st.integers(-60, 60).filter(lambda by: abs(by) > 15))
def test_a_picture_that_turns_brighter_or_darker_at_a_row_is_told(at: float, by: int) -> None:
    """As a JPEG does whose first coefficients slipped."""
    picture = load_photo(SAMPLES / "expansion-card.jpg").rgb.copy()
    row = int(at * len(picture)) // 8 * 8
    assert damage_notices(picture) == ()
    picture[row:] = np.clip(picture[row:].astype(np.int16) + by, 0, 255)
    assert [n.code for n in damage_notices(picture)] == [SEEN]


def test_a_picture_torn_and_moved_aside_is_told() -> None:
    picture = load_photo(SAMPLES / "listing-photo.jpg").rgb.copy()
    half = len(picture) // 2
    picture[half:] = np.roll(picture[half:], 300, axis=1)[..., [1, 2, 0]]
    (notice,) = damage_notices(picture)
    assert notice.code == SEEN
    assert "tear" in notice.message or "step" in notice.message
    assert "copy the file again" in notice.advice


# --- what is no damage


@pytest.mark.parametrize("name", [p.name for p in sorted(SAMPLES.glob("*.jpg"))])
def test_sound_photos_raise_no_alarm(name: str, encode: Any) -> None:
    rgb = load_photo(SAMPLES / name).rgb
    for picture in (rgb, np.ascontiguousarray(rgb[::-1, 3:]), cv2.resize(rgb, None, fx=0.5, fy=0.5)):
        assert damage_notices(np.asarray(picture)) == ()
    for kind, how in (("JPEG", {"quality": 50}), ("WEBP", {"quality": 60})):
        assert load_photo(encode(rgb, kind, **how)).notices == ()


def _framed(rgb: np.ndarray, way: str) -> np.ndarray:
    height, width = rgb.shape[:2]
    out = rgb.copy()
    if way == "letterbox":
        out[: height // 8] = out[-height // 8 :] = 0
    elif way == "black frame":
        out[:40] = out[-40:] = out[:, :40] = out[:, -40:] = 0
    elif way == "cut out on white":
        mask = np.zeros((height, width), np.uint8)
        cv2.ellipse(mask, (width // 2, height // 2), (width // 3, height // 3), 20, 0, 360, 255, -1)
        out[mask == 0] = 255
    elif way == "screenshot":
        out[:100] = (240, 240, 245)
        out[100:102] = (200, 200, 205)
        for i in range(12):
            cv2.putText(out, "Board", (20 + 110 * i, 60), cv2.FONT_HERSHEY_SIMPLEX, 1, (30, 30, 30), 2)
            cv2.rectangle(out, (10 + 110 * i, 20), (100 + 110 * i, 85), (90, 90, 95), 1)
        out[:, -220:] = (250, 250, 250)
        for i in range(30):
            cv2.putText(out, "120 USD", (width - 210, 40 + 36 * i), cv2.FONT_HERSHEY_SIMPLEX, 0.8, (20, 20, 20), 1)
    return out


@pytest.mark.parametrize("way", ["letterbox", "black frame", "cut out on white", "screenshot"])
@pytest.mark.parametrize("name", ["memory-modules.jpg", "listing-photo.jpg"])
def test_frames_cut_outs_and_screenshots_are_pictures(name: str, way: str) -> None:
    assert damage_notices(_framed(load_photo(SAMPLES / name).rgb, way)) == ()


@pytest.mark.parametrize("shape", [(32, 32), (32, 4000), (4000, 32), (33, 47)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_flat_and_tiny_pictures(shape: tuple[int, int], level: int) -> None:
    flat = np.full((*shape, 3), level, np.uint8)
    assert set(signs(flat).values()) == {0.0}


def test_the_check_costs_little_beside_decoding() -> None:
    """Processor time at twelve megapixels: measured 5 % of decoding; twice that here, for busy machines."""
    rng = np.random.default_rng(0)
    rgb = cv2.resize(load_photo(SAMPLES / "memory-modules.jpg").rgb, (4000, 3000), interpolation=cv2.INTER_CUBIC)
    rgb = np.clip(rgb + rng.normal(0, 3, rgb.shape), 0, 255).astype(np.uint8)
    data = simplejpeg.encode_jpeg(rgb, quality=92)

    def least_s(run: Any) -> float:
        took = []
        for _ in range(7):
            started = time.process_time()
            run()
            took.append(time.process_time() - started)
        return min(took)

    decoding = least_s(lambda: simplejpeg.decode_jpeg(data, colorspace="RGB", strict=True))
    assert least_s(lambda: damage_notices(rgb)) < 0.1 * decoding


def test_a_measured_photo_carries_the_warning(tmp_path: Path) -> None:
    """From the file to the report's warnings, with and without scale."""
    from grader.pipeline import measure
    from grader.request import Request
    from grader.scale_choice import WithoutScale
    from tests.measured_photos import document_of

    picture = cv2.resize(load_photo(SAMPLES / "no-gold.jpg").rgb, (400, 300), interpolation=cv2.INTER_AREA)
    picture[152:] = np.clip(picture[152:].astype(np.int16) - 60, 0, 255)
    file = io.BytesIO()
    Image.fromarray(picture).save(file, "PNG")
    document = document_of(measure(load_photo(file.getvalue(), "a.png"), Request(scale=WithoutScale())))
    assert SEEN in [w["code"] for w in document["warnings"]]
