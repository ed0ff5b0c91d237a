"""What a library has to say of a damaged file is in our error, not on the terminal."""

import io
import logging
import os
import threading

import numpy as np
import pytest
from PIL import Image

from calibration.errors import PhotoError
from grader.photo import load_photo
from grader.photo.own_lines import lines_held_back


def tiff(compression: str | None) -> bytes:
    file = io.BytesIO()
    picture = Image.fromarray(np.random.default_rng(1).integers(0, 256, (80, 120, 3), np.uint8))
    picture.save(file, "TIFF", compression=compression)
    return file.getvalue()


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate", "packbits", None])
def test_a_damaged_tiff_is_one_error_and_nothing_on_the_error_output(
    compression: str | None, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logging.getLogger(), "handlers", [])  # as a program has it, without a test's own
    data, refused = tiff(compression), 0
    for at in range(8, len(data) - 300, max(1, len(data) // 60)):
        for bad in (data[:at] + bytes(250) + data[at + 250 :], data[:at] + b"\xff" * 40 + data[at + 40 :], data[:at]):
            try:
                load_photo(bad)
            except PhotoError:
                refused += 1
    assert refused >= 20
    assert capfd.readouterr().err == ""


def test_odd_tags_of_a_tiff_are_not_reported_to_the_terminal(
    capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logging.getLogger(), "handlers", [])
    data = tiff(None)
    at = data.index(b"\x15\x01\x03\x00\x01\x00\x00\x00")  # SamplesPerPixel (TIFF 6.0, tag 277), one SHORT
    with pytest.raises(PhotoError):
        load_photo(data[: at + 8] + b"\xff\x7f" + data[at + 10 :])
    assert capfd.readouterr().err == ""


def test_lines_come_out_afterwards_where_nothing_failed(capfd: pytest.CaptureFixture[str]) -> None:
    with lines_held_back():
        os.write(2, b"a line of somebody else\n")
        assert capfd.readouterr().err == ""
    assert capfd.readouterr().err == "a line of somebody else\n"


def test_lines_are_dropped_and_the_error_output_is_as_before_where_something_failed(
    capfd: pytest.CaptureFixture[str],
) -> None:
    def fail() -> None:
        os.write(2, b"a library's own line\n")
        raise ValueError("the error")

    with pytest.raises(ValueError, match="the error"), lines_held_back():
        fail()
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"


def test_threads_that_hold_lines_back_do_not_lose_the_error_output(capfd: pytest.CaptureFixture[str]) -> None:
    def hold() -> None:
        for _ in range(50):
            with lines_held_back():
                pass

    threads = [threading.Thread(target=hold) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    os.write(2, b"still there\n")
    assert capfd.readouterr().err == "still there\n"
