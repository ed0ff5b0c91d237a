"""Files damaged at random: what is promised about them, and no error but our own."""

from __future__ import annotations

import io

import numpy as np
import pytest
import simplejpeg
from PIL import Image

from calibration.errors import PhotoError
from grader.photo import Photo, load_photo

JPEGS = [
    {"quality": 90},
    {"quality": 90, "progressive": True},
    {"quality": 90, "subsampling": 0},
    {"quality": 90, "restart_marker_rows": 1},
]


def load_or_none(data: bytes) -> Photo | None:
    try:
        return load_photo(data)
    except PhotoError:
        return None


def overwrite(data: bytes, at: int, by: bytes) -> bytes:
    return data[:at] + by + data[at + len(by) :]


@pytest.mark.parametrize("how", JPEGS)
def test_jpeg_damage_of_a_disk_block_never_passes_with_other_pixels(scene, encode, how):
    """200 damaged files in all: cut short, 2000 random bytes, or 4096 zero bytes, anywhere in the file."""
    data = encode(np.tile(scene, (2, 2, 1)), **how)
    sound = load_photo(data).rgb
    rng = np.random.default_rng(20)
    refused = 0
    for trial in range(50):
        at = int(rng.integers(2, len(data) - 4098))
        bad = [data[:at], overwrite(data, at, rng.bytes(2000)), overwrite(data, at, bytes(4096))][trial % 3]
        photo = load_or_none(bad)
        refused += photo is None
        assert photo is None or np.array_equal(photo.rgb, sound)
    assert refused >= 49  # damage may fall on bytes that decide nothing; here hardly any do


def test_few_changed_bytes_pass_only_where_the_stream_is_still_a_sound_jpeg(scene, encode):
    """The limit of any decoder, stated: JPEG has no checksum.

    A changed byte that leaves a valid stream is a valid other picture. Where such a file is accepted, a second
    decoder must take it too and agree on every pixel.
    """
    data = encode(scene, quality=90)
    sound = load_photo(data).rgb
    start = data.index(b"\xff\xda") + 14
    rng = np.random.default_rng(21)
    unseen = 0
    for _ in range(200):
        at = int(rng.integers(start, len(data) - 3))
        bad = overwrite(data, at, rng.bytes(1))
        photo = load_or_none(bad)
        if photo is not None and not np.array_equal(photo.rgb, sound):
            unseen += 1
            assert simplejpeg.decode_jpeg_header(bad, strict=True)[:2] == sound.shape[:2]
            assert np.array_equal(photo.rgb, np.asarray(Image.open(io.BytesIO(bad))))
    # If this falls to nothing, better protection exists than the docstring of ``decode`` admits: then say so there.
    assert 0 < unseen < 160


@pytest.mark.parametrize(("kind", "how"), [("PNG", {}), ("TIFF", {"compression": "tiff_adobe_deflate"})])
def test_formats_with_checksums_never_pass_with_other_pixels(scene, encode, kind, how):
    data = encode(scene, kind, **how)
    rng = np.random.default_rng(22)
    for trial in range(60):
        at = int(rng.integers(0, len(data) - 200))
        photo = load_or_none(overwrite(data, at, rng.bytes([1, 16, 200][trial % 3])))
        assert photo is None or _same(photo, scene, kind)


def _same(photo: Photo, scene: np.ndarray, kind: str) -> bool:
    # A TIFF's directory carries no checksum: damage there can turn, crop or recolour the whole; not in this seed.
    return photo.format == kind and np.array_equal(photo.rgb, scene)


@pytest.mark.parametrize(
    ("kind", "how"),
    [
        ("JPEG", {}),
        ("JPEG", {"progressive": True}),
        ("PNG", {}),
        ("WEBP", {}),
        ("WEBP", {"lossless": True}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("HEIF", {}),
        ("HEIF", {"tile_size": 64}),
    ],
)
def test_mutated_files_raise_nothing_but_photo_errors(scene, encode, kind, how):
    """Bytes flipped, runs overwritten, pieces cut out, doubled or swapped; half of it among the headers."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA405] = 26
    small = np.ascontiguousarray(scene[:96, :128])
    if "compression" not in how:  # Pillow cannot write both
        how = {**how, "exif": exif.tobytes()}
    data = encode(small, kind, **how)
    rng = np.random.default_rng(23)
    accepted = 0
    for _ in range(50):
        photo = load_or_none(_mutate(data, rng))
        accepted += photo is not None
        if photo is not None:
            assert photo.rgb.dtype == np.uint8
            assert photo.rgb.ndim == 3
            assert not photo.rgb.flags.writeable
    assert accepted < 50


def _mutate(data: bytes, rng: np.random.Generator) -> bytes:
    bad = bytearray(data)
    for _ in range(int(rng.integers(1, 4))):
        reach = len(bad) if rng.random() < 0.5 else min(700, len(bad))
        at, length = int(rng.integers(0, reach)), int(rng.integers(1, 60))
        match int(rng.integers(0, 6)):
            case 0:
                bad[at] ^= 1 << int(rng.integers(0, 8))
            case 1:
                bad[at : at + length] = rng.bytes(len(bad[at : at + length]))
            case 2:
                del bad[at : at + length]
            case 3:
                bad[at:at] = bad[at : at + length]
            case 4:
                bad[at : at + 4] = bytes([255] * 4) if rng.random() < 0.5 else bytes(4)
            case _:
                del bad[max(at, 4) :]
    return bytes(bad)
