"""Good files: the right pixels, upright, in sRGB, with the facts of their EXIF."""

from __future__ import annotations

import hashlib
import io
import pickle
import struct
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from grader.photo import load_photo

LOSSLESS = [
    ("PNG", {}),
    ("TIFF", {}),
    ("TIFF", {"compression": "tiff_lzw"}),
    ("TIFF", {"compression": "tiff_adobe_deflate"}),
    ("TIFF", {"compression": "packbits"}),
    ("WEBP", {"lossless": True}),
    ("HEIF", {"quality": -1, "chroma": 444, "matrix_coefficients": 0}),
]


@pytest.mark.parametrize(
    "how", [{"quality": 90}, {"quality": 90, "progressive": True}, {"subsampling": 0}, {"keep_rgb": True}]
)
def test_jpeg_has_the_very_pixels_of_two_other_decoders(scene, encode, how):
    data = encode(scene, "JPEG", **how)
    photo = load_photo(data)
    assert photo.format == "JPEG"
    assert np.array_equal(photo.rgb, np.asarray(Image.open(io.BytesIO(data))))
    assert np.array_equal(photo.rgb, cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB))


@pytest.mark.parametrize(("kind", "how"), LOSSLESS)
def test_lossless_formats_give_back_what_was_stored(scene, encode, kind, how):
    photo = load_photo(encode(scene, kind, **how))
    assert photo.format == kind
    assert np.array_equal(photo.rgb, scene)


@pytest.mark.parametrize(("kind", "how"), [("WEBP", {"quality": 95}), ("HEIF", {"quality": 95, "chroma": 444})])
def test_lossy_formats_come_close(scene, encode, kind, how):
    difference = np.abs(load_photo(encode(scene, kind, **how)).rgb.astype(int) - scene)
    assert difference.mean() < 6


def test_heic_of_tiles_as_phones_write_it(scene, encode):
    tiled = load_photo(encode(scene, "HEIF", quality=95, tile_size=128))
    whole = load_photo(encode(scene, "HEIF", quality=95))
    assert tiled.rgb.shape == scene.shape
    assert np.abs(tiled.rgb.astype(int) - whole.rgb).mean() < 2


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_array_is_read_only_and_contiguous(scene, encode, kind):
    exif = Image.Exif()
    exif[0x0112] = 6
    for how in ({}, {"exif": exif.tobytes()}):
        rgb = load_photo(encode(scene, kind, **how)).rgb
        assert rgb.dtype == np.uint8
        assert rgb.flags.c_contiguous
        with pytest.raises(ValueError, match="read-only"):
            rgb[0, 0, 0] = 1


def test_sha256_name_and_pickle(scene, encode, tmp_path: Path):
    data = encode(scene)
    path = tmp_path / "first.pdf"  # a wrong ending does not matter
    path.write_bytes(data)
    photo = load_photo(path)
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert photo.name == "first.pdf"
    assert load_photo(data, "given.jpg").name == "given.jpg"
    assert load_photo(data).name == "photo"
    assert np.array_equal(pickle.loads(pickle.dumps(photo)).rgb, photo.rgb)


@pytest.mark.parametrize("name", ["a\x1b[31mred", "x\u202egpj.exe", "nul\x00", "caf\udce9.jpg", "line\nbreak"])
def test_names_cannot_upset_a_terminal_or_json(scene, encode, name):
    shown = load_photo(encode(scene), name).name
    assert shown.isprintable()
    assert len(shown) == len(name)
    shown.encode()


# --- orientation


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_every_orientation_gives_the_same_upright_picture(scene, encode, kind, orientation):
    how = {"lossless": True} if kind == "WEBP" else {}
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = _stored_for(scene, orientation)
    assert np.array_equal(load_photo(encode(stored, kind, exif=exif.tobytes(), **how)).rgb, scene)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_jpeg_orientation_as_other_decoders_apply_it(scene, encode, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = encode(_stored_for(scene, orientation), "JPEG", exif=exif.tobytes(), quality=95, subsampling=0)
    rgb = load_photo(data).rgb
    assert rgb.shape == scene.shape
    assert np.abs(rgb.astype(int) - scene).mean() < 4
    assert np.array_equal(rgb, np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data)))))
    assert np.array_equal(rgb, cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB))


@pytest.mark.parametrize("orientation", range(1, 9))
def test_heic_is_turned_once_by_its_container(scene, encode, orientation):
    how = {"quality": -1, "chroma": 444, "matrix_coefficients": 0}
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = encode(_stored_for(scene, orientation), "HEIF", exif=exif.tobytes(), **how)
    assert np.array_equal(load_photo(data).rgb, scene)


@pytest.mark.parametrize("orientation", [0, 9, 99, 65535])
def test_invalid_orientation_is_ignored(scene, encode, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    assert np.array_equal(load_photo(encode(scene, "PNG", exif=exif)).rgb, scene)


def test_orientation_in_xmp_alone_is_ignored(scene, encode):
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf tiff:Orientation="6"/></x:xmpmeta>'
    assert np.array_equal(load_photo(encode(scene, "WEBP", lossless=True, xmp=xmp)).rgb, scene)


def _stored_for(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The rows and columns as a camera stores them, straight from the table of EXIF 2.3, 4.6.4 (tag 274).

    The table says where the stored picture's 0th row and 0th column lie in the upright one.
    """
    h, w = upright.shape[:2]
    rows, columns = np.arange(h), np.arange(w)
    match orientation:
        case 1:  # row 0 = top, column 0 = left
            return upright
        case 2:  # top, right
            return upright[np.ix_(rows, columns[::-1])]
        case 3:  # bottom, right
            return upright[np.ix_(rows[::-1], columns[::-1])]
        case 4:  # bottom, left
            return upright[np.ix_(rows[::-1], columns)]
        case 5:  # left, top: a stored row is an upright column
            return upright[rows[None, :], columns[:, None]]
        case 6:  # right, top
            return upright[rows[None, :], columns[::-1][:, None]]
        case 7:  # right, bottom
            return upright[rows[::-1][None, :], columns[::-1][:, None]]
        case _:  # left, bottom
            return upright[rows[::-1][None, :], columns[:, None]]


# --- EXIF facts


def _exif(**tags: object) -> Image.Exif:
    numbers = {"focal_35mm": 0xA405, "taken": 0x9003, "x": 0xA002, "y": 0xA003}
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({numbers[name]: value for name, value in tags.items()})
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_focal_length_and_time(scene, encode, kind):
    exif = _exif(focal_35mm=26, taken="2026:03:04 05:06:07")
    photo = load_photo(encode(scene, kind, exif=exif.tobytes()))
    # 320 × 240 has a diagonal of exactly 400 px; full-frame film 43.2666 mm
    assert photo.focal_px == pytest.approx(26 * 400 / 43.26661530556787, rel=1e-12)
    assert photo.taken_at == datetime(2026, 3, 4, 5, 6, 7)


def test_focal_length_survives_turning_and_uniform_shrinking_but_not_cropping(scene, encode):
    def focal(pixels: np.ndarray, **tags: object) -> float | None:
        exif = _exif(focal_35mm=26, **tags)
        exif[0x0112] = 6
        return load_photo(encode(pixels, exif=exif.tobytes())).focal_px

    assert focal(scene) == focal(scene, x=320, y=240) == focal(scene, x=4000, y=3000) == focal(scene, x=3000, y=4000)
    assert focal(np.ascontiguousarray(scene[:120]), x=320, y=240) is None


@pytest.mark.parametrize("focal", [0, 1, 65000])
def test_unknown_or_absurd_focal_lengths_are_none(scene, encode, focal):
    assert load_photo(encode(scene, exif=_exif(focal_35mm=focal).tobytes())).focal_px is None


@pytest.mark.parametrize("taken", ["", "0000:00:00 00:00:00", "yesterday", "    :  :     :  :  "])
def test_unset_times_are_none(scene, encode, taken):
    assert load_photo(encode(scene, exif=_exif(taken=taken).tobytes())).taken_at is None


def test_exif_behind_the_pixels_of_a_png_counts(scene, encode):
    exif = Image.Exif()
    exif[0x0112] = 8
    data = encode(_stored_for(scene, 8), "PNG", exif=exif.tobytes())
    start = data.index(b"eXIf") - 4
    end = start + 12 + int.from_bytes(data[start : start + 4], "big")
    moved = data[:start] + data[end:-12] + data[start:end] + data[-12:]
    assert moved.index(b"eXIf") > moved.rindex(b"IDAT")
    assert np.array_equal(load_photo(moved).rgb, scene)


def test_damaged_exif_does_not_spoil_a_sound_picture(scene, encode):
    good = encode(scene, exif=_exif(focal_35mm=26).tobytes())
    at = good.index(b"Exif\0\0") + 6
    broken = good[:at] + bytes(8) + good[at + 8 :]
    photo = load_photo(broken)
    assert np.array_equal(photo.rgb, load_photo(good).rgb)
    assert photo.focal_px is None


# --- what is inside


def test_jpeg_with_a_second_picture_behind_it(scene, encode):
    """Phones append gain maps and previews (multi-picture format): the first picture is the photo."""
    first, second = Image.fromarray(scene), Image.fromarray(scene[::2, ::2])
    file = io.BytesIO()
    first.save(file, "MPO", save_all=True, append_images=[second], quality=90)
    with Image.open(io.BytesIO(file.getvalue())) as opened:
        assert opened.n_frames == 2
    photo = load_photo(file.getvalue())
    assert photo.format == "JPEG"
    assert np.array_equal(photo.rgb, load_photo(encode(scene, quality=90)).rgb)


def test_bytes_after_the_end_of_a_jpeg_are_no_damage(scene, encode):
    data = encode(scene)
    assert np.array_equal(load_photo(data + b"camera's own notes" * 99).rgb, load_photo(data).rgb)


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_an_opaque_alpha_channel_is_dropped(scene, encode, kind):
    how = {"lossless": True} if kind == "WEBP" else {}
    rgba = np.dstack([scene, np.full(scene.shape[:2], 255, np.uint8)])
    assert np.array_equal(load_photo(encode(rgba, kind, **how)).rgb, scene)


def test_broken_and_alien_profiles_are_left_alone(scene, encode):
    plain = load_photo(encode(scene, "PNG")).rgb
    for profile in (b"nonsense", struct.pack(">I", 128) + bytes(124)):
        assert np.array_equal(load_photo(encode(scene, "PNG", icc_profile=profile)).rgb, plain)


def test_an_srgb_profile_changes_nothing(scene, encode):
    from PIL import ImageCms

    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert np.array_equal(load_photo(encode(scene, "PNG", icc_profile=srgb)).rgb, scene)
