"""Bad files: each kind has one error with its own stable code, and says what to do."""

from __future__ import annotations

import io
import os
import pickle
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pillow_heif import from_pillow

from calibration.errors import GraderError, PhotoError
from grader.photo import header, load_photo


def code_of(source: bytes | Path) -> str:
    with pytest.raises(PhotoError) as caught:
        load_photo(source)
    error = caught.value
    assert error.exit_code == 2
    assert error.message.endswith((".", ")."))
    assert len(error.advice) > 10
    assert isinstance(error, GraderError)
    assert str(pickle.loads(pickle.dumps(error))) == str(error)
    return error.code


def png_header(width: int, height: int, bits: int = 8, colour: int = 2) -> bytes:
    """A PNG that announces a size and holds next to nothing."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    ihdr = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    idat = zlib.compress(bytes(1000), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", ihdr) + chunk(b"IDAT", idat) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "photo-empty"),
        (b"\xff", "photo-not-a-picture"),
        (b"just some text\n" * 50, "photo-not-a-picture"),
        (b"<html><body>not found</body></html>", "photo-not-a-picture"),
        (b"PK\x03\x04" + bytes(100), "photo-not-a-picture"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj", "photo-is-pdf"),
        (b"\x00" * 500 + b"%PDF-1.4", "photo-is-pdf"),
        (b"GIF89a" + bytes(50), "photo-other-format"),
        (b"\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1miaf" + bytes(50), "photo-other-format"),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom" + bytes(50), "photo-is-film"),
        (b"\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  " + bytes(50), "photo-is-film"),
        (b"\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01crx isom" + bytes(50), "photo-is-raw"),
        (b"II*\x00\x10\x00\x00\x00CR\x02\x00" + bytes(50), "photo-is-raw"),
        (b"\xff\xd8\xff", "photo-truncated"),
        (b"\xff\xd8\xff\xe0" + bytes(200), "photo-truncated"),
        (b"\x89PNG\r\n\x1a\n", "photo-truncated"),
        (b"RIFF\xff\xff\x00\x00WEBPVP8 ", "photo-truncated"),
        (b"II*\x00\x08\x00\x00\x00" + bytes(60), "photo-damaged"),
        (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "photo-damaged"),
    ],
)
def test_not_a_photo(data, code):
    assert code_of(data) == code


def test_pdf_says_so_and_asks_for_the_photo_itself():
    with pytest.raises(PhotoError) as caught:
        load_photo(b"%PDF-1.7\n")
    assert "PDF" in caught.value.message
    assert "photo itself" in caught.value.advice


# --- paths


def test_paths_that_are_no_files(tmp_path: Path):
    assert code_of(tmp_path / "nothing.jpg") == "photo-missing"
    assert code_of(tmp_path) == "photo-is-folder"
    (tmp_path / "file").write_bytes(b"x")
    assert code_of(tmp_path / "file" / "below.jpg") == "photo-missing"
    assert code_of(tmp_path / ("n" * 5000)) == "photo-unreadable"
    assert code_of(tmp_path / "nul\0.jpg") == "photo-unreadable"
    (tmp_path / "empty.jpg").touch()
    assert code_of(tmp_path / "empty.jpg") == "photo-empty"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_does_not_hang(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.jpg")
    assert code_of(tmp_path / "pipe.jpg") == "photo-not-a-file"


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch):
    path = tmp_path / "locked.jpg"
    path.write_bytes(b"\xff\xd8\xff")

    def refuse(*args: object, **kwargs: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # the owner of everything is not stopped by file modes
    assert code_of(path) == "photo-unreadable"


# --- damage


@pytest.mark.parametrize("share", [0.02, 0.5, 0.9, 0.999])
@pytest.mark.parametrize(
    ("kind", "how", "code"),
    [
        ("JPEG", {}, "photo-truncated"),
        ("JPEG", {"progressive": True}, "photo-truncated"),
        ("PNG", {}, "photo-truncated"),
        ("WEBP", {}, "photo-truncated"),
        ("HEIF", {}, "photo-truncated"),
        ("HEIF", {"tile_size": 128}, "photo-truncated"),
        ("TIFF", {}, "photo-truncated"),
        ("TIFF", {"compression": "tiff_lzw"}, "photo-damaged"),
        ("TIFF", {"compression": "tiff_adobe_deflate"}, "photo-damaged"),
    ],
)
def test_cut_short(scene, encode, kind, how, code, share):
    data = encode(scene, kind, **how)
    # Pillow writes a TIFF's directory behind uncompressed pixels or in front; without it nothing says "cut short".
    allowed = {code, "photo-damaged"} if kind == "TIFF" else {code}
    assert code_of(data[: int(len(data) * share)]) in allowed


def test_a_jpeg_that_lacks_only_its_last_marker_is_cut_short(scene, encode):
    assert code_of(encode(scene)[:-2]) == "photo-truncated"


def test_a_jpeg_with_a_damaged_middle(scene, encode):
    data = bytearray(encode(scene, quality=95))
    middle = len(data) // 2
    data[middle : middle + 2000] = np.random.default_rng(3).bytes(2000)
    assert code_of(bytes(data)) == "photo-damaged"


def test_a_png_with_one_wrong_bit_in_its_pixels(scene, encode):
    data = bytearray(encode(scene, "PNG"))
    data[len(data) // 2] ^= 1
    assert code_of(bytes(data)) == "photo-damaged"


def test_a_jpeg_inside_a_tiff_is_refused_because_damage_in_it_goes_unseen(scene, encode):
    assert code_of(encode(scene, "TIFF", compression="jpeg")) == "photo-tiff-compression"


# --- sizes


def test_too_many_pixels_and_bombs(monkeypatch):
    assert code_of(png_header(14_000, 14_000)) == "photo-bomb"
    assert code_of(png_header(8_000, 8_000)) == "photo-bomb"
    assert code_of(png_header(60_000, 60_000)) == "photo-bomb"
    padded = png_header(8_000, 8_000) + bytes(700_000)  # as many bytes as a photo of that size could have
    assert code_of(padded) == "photo-too-many-pixels"
    assert code_of(png_header(14_000, 14_000) + bytes(4_000_000)) == "photo-too-many-pixels"


def test_the_limit_itself_passes_the_gate():
    assert header.MAX_PIXELS == 60_000_000
    assert code_of(png_header(10_000, 6_000)) == "photo-truncated"  # not a matter of size: its pixels are missing
    assert code_of(png_header(10_000, 6_001)) == "photo-bomb"


def test_large_files_are_refused_before_they_are_read(tmp_path: Path):
    path = tmp_path / "large.jpg"
    with path.open("wb") as file:
        file.truncate(header.MAX_FILE_BYTES + 1)
    assert code_of(path) == "photo-file-too-large"


@pytest.mark.parametrize("size", [(1, 1), (31, 500), (500, 31)])
def test_icons_are_refused(encode, size):
    assert code_of(encode(Image.new("RGB", size), "PNG")) == "photo-too-small"
    load_photo(encode(Image.new("RGB", (32, 32)), "PNG"))


# --- frames, colour and depth


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_animations(scene, encode, kind):
    frames = [Image.fromarray(scene), Image.fromarray(scene[::-1].copy())]
    assert code_of(encode(frames[0], kind, save_all=True, append_images=frames[1:])) == "photo-animated"


def test_several_pages_or_pictures(scene, encode):
    frames = [Image.fromarray(scene), Image.fromarray(scene[::-1].copy())]
    assert code_of(encode(frames[0], "TIFF", save_all=True, append_images=frames[1:])) == "photo-several-pictures"
    heif = from_pillow(frames[0])
    heif.add_from_pillow(frames[1])
    file = io.BytesIO()
    heif.save(file)
    assert code_of(file.getvalue()) == "photo-several-pictures"


def test_printing_inks(scene, encode):
    cmyk = Image.fromarray(scene).convert("CMYK")
    assert code_of(encode(cmyk, "JPEG")) == "photo-cmyk"
    assert code_of(encode(cmyk, "TIFF")) == "photo-cmyk"


@pytest.mark.parametrize(("mode", "kind"), [("L", "JPEG"), ("L", "PNG"), ("LA", "PNG"), ("1", "PNG"), ("L", "TIFF")])
def test_pictures_without_colour(scene, encode, mode, kind):
    assert code_of(encode(Image.fromarray(scene).convert(mode), kind)) == "photo-no-colour"


def test_palette_pictures(scene, encode):
    assert code_of(encode(Image.fromarray(scene).quantize(200), "PNG")) == "photo-palette"


def test_other_colour_codings(scene, encode):
    assert code_of(encode(Image.fromarray(scene).convert("LAB"), "TIFF")) == "photo-colour-mode"


def test_sixteen_bits_are_refused_not_halved_in_silence(scene):
    import cv2

    deep = scene.astype(np.uint16) * 257
    for ending in (".png", ".tiff"):
        assert code_of(cv2.imencode(ending, deep)[1].tobytes()) == "photo-bit-depth"


def test_high_dynamic_range_heic(scene, encode):
    for transfer in (16, 18):
        assert code_of(encode(scene, "HEIF", transfer_characteristics=transfer)) == "photo-hdr"


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "HEIF"])
def test_cut_outs_are_refused(scene, encode, kind):
    alpha = np.full(scene.shape[:2], 255, np.uint8)
    alpha[5, 5] = 0
    assert code_of(encode(np.dstack([scene, alpha]), kind)) == "photo-transparent"


@pytest.mark.parametrize("tag", [(50706, b"\x01\x04\x00\x00"), (254, 1)])
def test_raw_files_that_open_as_their_own_preview(scene, encode, tag):
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    tags = ImageFileDirectory_v2()
    tags[tag[0]] = tag[1]
    assert code_of(encode(scene, "TIFF", tiffinfo=tags)) == "photo-is-raw"
