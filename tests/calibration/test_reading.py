"""Whatever a file holds, reading it ends in its contents or in one typed error, in bounded memory."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from calibration.errors import DataFileError
from calibration.packaged import toml_of
from calibration.reading import FileKind, json_of, read_bytes, read_text, read_toml, sha256_of

KIND = FileKind("thing", "a thing", 100, "Write it anew.")
ROOT = Path(__file__).parents[2]


def test_no_more_is_read_than_a_kind_may_have(tmp_path: Path) -> None:
    path = tmp_path / "thing"
    path.write_bytes(b"x" * 100)
    assert read_bytes(path, KIND) == b"x" * 100
    path.write_bytes(b"x" * 101)
    with pytest.raises(DataFileError) as caught:
        read_bytes(path, KIND)
    assert (caught.value.code, caught.value.advice) == ("thing-invalid", "Write it anew.")


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device without end")
def test_a_device_without_end_is_too_large() -> None:
    with pytest.raises(DataFileError, match="too large"):
        read_bytes(Path("/dev/zero"), KIND)


@pytest.mark.parametrize("name", ["none", "x" * 300, "a\0b", "."])
def test_what_cannot_be_read_is_a_typed_error(tmp_path: Path, name: str) -> None:
    with pytest.raises(DataFileError) as caught:
        read_text(tmp_path / name, KIND)
    assert caught.value.code == "thing-unreadable"
    assert "None" not in caught.value.message


def test_text_may_begin_with_a_byte_order_mark_as_some_editors_write_it(tmp_path: Path) -> None:
    path = tmp_path / "thing.toml"
    path.write_bytes(b'\xef\xbb\xbfname = "\xc3\xa9"')
    assert read_toml(path, KIND) == {"name": "é"}


@pytest.mark.parametrize(
    "data",
    [b"a = " + b"[" * 30, b"\xff\xfe", b"a = 1\na = 2", b"a = 2026-13-45", b"= 3"],
)
def test_what_is_no_toml_is_a_typed_error(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "thing.toml"
    path.write_bytes(data)
    with pytest.raises(DataFileError) as caught:
        read_toml(path, KIND)
    assert caught.value.code == "thing-invalid"


@pytest.mark.parametrize("text", ["a=" + "[" * 5000, "a=" + "{b=" * 3000 + "1", "a = 1" + "0" * 5000])
def test_deep_toml_and_endless_numbers_are_value_errors(text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        toml_of(text)


@pytest.mark.parametrize(
    "text",
    ["[" * 100_000, '{"a":' * 100_000, "1" + "0" * 400, "1" + "0" * 5000, "NaN", "-Infinity", "", b"\xff", "{"],
)
def test_what_is_no_json_is_a_value_error(text: str | bytes) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        json_of(text)


def test_json_is_read_as_it_was_written() -> None:
    value = {"a": [1, -2.5, 10**300, None, True, "é\n"]}
    assert json_of(json.dumps(value)) == value


def test_a_sha256_is_that_of_the_bytes(tmp_path: Path) -> None:
    path = tmp_path / "thing"
    path.write_bytes(b"abc" * 100_000)
    assert sha256_of(path) == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device without end")
def test_a_device_has_no_sha256() -> None:
    with pytest.raises(OSError, match="no file"):
        sha256_of(Path("/dev/zero"))


# --- every reader of a person's files, with 4 GB in it and 1.5 GB of memory to read it in

READERS = {
    "measurement": "from grader.measured import documents_in as read",
    "assumptions": "from grader.valuation.assumptions import load_assumptions as read",
    "parts": "from grader.lot.claim import read_claim as read",
    "process": "from grader.batch.process import load_process; read = lambda p: load_process(str(p))",
    "thresholds": "from grader.grade.thresholds import load_thresholds as read",
    "target": "from grader.scale_texts import by_target as read",
    "check bar": "from calibration.print_check import load_print_check as read",
    "plan": "from grader.cli.log_batch import _plan as read",
    "CSV": "from grader.cli.log_learn import import_ as read",
    "corrections": "from grader.cli.photo_options import PhotoOptions;"
    "read = lambda p: PhotoOptions(corrections=p).by_hand([p])",
}
ALL = f"""
import resource, sys
from pathlib import Path
from calibration.errors import DataFileError
big, readers = Path(sys.argv[1]), {READERS!r}
found = {{}}
for name, lines in readers.items():
    exec(lines)
    found[name] = read
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]),) * 2)
for name, read in found.items():
    try:
        read(big)
    except DataFileError as error:
        assert "too large" in error.message, (name, error.message)
    else:
        raise AssertionError(name)
    print(name)
"""


@pytest.mark.skipif(os.name != "posix" or sys.platform == "darwin", reason="needs a limit on memory")
def test_four_gigabytes_are_refused_by_every_reader_without_reading_them(tmp_path: Path) -> None:
    big = tmp_path / "big"
    with big.open("wb") as file:
        file.truncate(4_000_000_000)  # takes no room on the disk
    done = subprocess.run(
        [sys.executable, "-c", ALL, str(big), str(3_000_000_000)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        cwd=ROOT,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split("\n")[:-1] == list(READERS)


# --- deep TOML through every reader of it


@pytest.mark.parametrize("deep", ["a=" + "[" * 5000, "a=" + "{b=" * 3000])
@pytest.mark.parametrize("reader", ["assumptions", "parts", "process", "thresholds"])
def test_deep_toml_is_a_typed_error_of_every_reader(tmp_path: Path, deep: str, reader: str) -> None:
    path = tmp_path / "deep.toml"
    path.write_text(deep)
    space: dict[str, object] = {}
    exec(READERS[reader], space)
    with pytest.raises(DataFileError) as caught:
        space["read"](path)  # type: ignore[operator]
    assert caught.value.code == f"{reader}-invalid"
