"""A lot in progress on the disk: it comes back as it was, whole, and two windows on it lose nothing."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from threading import Thread

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.lot_folder import Kept, LotFolder, Value, is_key, lots_in, new_key


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "in-progress" / new_key()


VALUES = st.one_of(st.text(), st.integers(-(2**53), 2**53), st.floats(allow_nan=False), st.dates(), st.none())


@given(st.dictionaries(st.text(min_size=1), VALUES))
def test_entries_come_back_with_their_kinds(entries: dict[str, Value]) -> None:
    with tempfile.TemporaryDirectory() as place:
        LotFolder(Path(place) / "lot").set_entries(entries)
        found = LotFolder(Path(place) / "lot").entries()
    assert found == entries
    assert {n: type(v) for n, v in found.items()} == {n: type(v) for n, v in entries.items()}


def test_looking_at_a_lot_makes_no_folder(folder: Path) -> None:
    lot = LotFolder(folder)
    assert not lot.entries()
    assert not lot.measured()
    assert not lot.waiting()
    assert lot.changed_at == 0
    assert not folder.exists()


def test_a_measured_photo_comes_back_as_it_was(folder: Path, measured: Kept) -> None:
    LotFolder(folder).put(measured)
    assert LotFolder(folder).measured() == {measured.sha256: measured}


def test_a_photo_waits_until_it_is_measured(folder: Path, measured: Kept) -> None:
    lot = LotFolder(folder)
    one = lot.hand_in("one.jpg", b"one")
    lot.hand_in("the same again.jpg", b"one")
    lot.hand_in("two.jpg", b"two")
    assert [w.name for w in LotFolder(folder).waiting()] == ["one.jpg", "two.jpg"]
    assert LotFolder(folder).photo(one.sha256) == b"one"
    done = Kept("one.jpg", one.sha256, measured.request, measured.document, b"", is_sample=False)
    lot.put(done)
    assert [w.name for w in lot.waiting()] == ["two.jpg"]
    lot.remove(one.sha256)
    assert not lot.measured()
    assert lot.photo(one.sha256) is None


def test_a_write_that_breaks_off_leaves_what_was_there(
    folder: Path, measured: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = LotFolder(folder)
    lot.set_entries({"asking": "120 USD"})
    before = sorted(folder.iterdir())

    def broken(self: Path, target: Path) -> Path:
        raise OSError(28, "no space left")

    monkeypatch.setattr(Path, "replace", broken)
    for change in (
        lambda: lot.set_entries({"asking": "1"}),
        lambda: lot.put(measured),
        lambda: lot.hand_in("a", b""),
    ):
        with pytest.raises(OSError, match="no space"):
            change()
    monkeypatch.undo()
    assert LotFolder(folder).entries() == {"asking": "120 USD"}
    assert not LotFolder(folder).measured()
    assert sorted(folder.iterdir()) == before, "half a file was left"


def test_a_measurement_whose_files_are_gone_is_left_out(folder: Path, measured: Kept) -> None:
    lot = LotFolder(folder)
    lot.put(measured)
    (folder / f"{measured.sha256}.png").unlink()
    assert not LotFolder(folder).measured()


def test_many_windows_at_once_lose_nothing(folder: Path) -> None:
    lot = LotFolder(folder)

    def work(window: int) -> None:
        for n in range(20):
            lot.set_entries({f"{window}-{n}": n})
            lot.hand_in(f"{window}-{n}.jpg", f"{window}-{n}".encode())

    windows = [Thread(target=work, args=(w,)) for w in range(4)]
    for window in windows:
        window.start()
    for window in windows:
        window.join()
    assert len(LotFolder(folder).entries()) == 80
    assert len(LotFolder(folder).waiting()) == 80


@pytest.mark.parametrize(
    "text", ["", "..", "../../etc/passwd", "a" * 15, "a" * 17, "abc/def/ghi/jklm", "a" * 15 + "\n"]
)
def test_what_an_address_says_is_no_path(text: str) -> None:
    assert not is_key(text)
    assert is_key(new_key())


def test_lots_are_listed_the_last_changed_first(folder: Path) -> None:
    place = folder.parent
    assert lots_in(place) == []
    first, second = new_key(), new_key()
    for key, at in ((first, 1_000), (second, 2_000)):
        LotFolder(place / key).set_entries({"asking": "120 USD"})
        os.utime(place / key / "lot.json", (at, at))
    (place / "stranger").mkdir()
    assert [(key, lot.changed_at) for key, lot in lots_in(place)] == [(second, 2_000), (first, 1_000)]
    lots_in(place)[0][1].throw_away()
    assert [key for key, _ in lots_in(place)] == [first]
