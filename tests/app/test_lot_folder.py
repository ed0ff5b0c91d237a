"""A lot in progress on the disk: it comes back as it was, whole, and two windows on it lose nothing."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.lots.bin import delete, in_bin, take_out
from app.lots.entries import Value
from app.lots.lot_folder import Kept, LotFolder, is_key, lots_in, new_key
from app.lots.merging import take_over
from app.lots.process_lock import ProcessLock
from app.lots.taken_off import clear_old, lay_aside, put_back
from app.photo_view import History
from calibration.errors import DataFileError, UsageError
from grader.correct import Corrections, LeftOut


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "in-progress" / new_key()


VALUES = st.one_of(st.text(), st.integers(-(2**53), 2**53), st.floats(allow_nan=False), st.dates(), st.none())


@settings(max_examples=40)
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
    done = Kept("one.jpg", one.sha256, measured.request, measured.measured, b"", is_sample=False)
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
        with pytest.raises(UsageError, match="no space"):
            change()
    monkeypatch.undo()
    assert LotFolder(folder).entries() == {"asking": "120 USD"}
    assert not LotFolder(folder).measured()
    assert sorted(folder.iterdir()) == before, "half a file was left"


@pytest.mark.parametrize("ending", ["png", "json"])
@pytest.mark.parametrize("damage", [Path.unlink, lambda path: path.write_bytes(path.read_bytes()[:-9])])
def test_a_measurement_whose_files_are_gone_or_damaged_waits_to_be_measured_again(
    folder: Path, measured: Kept, ending: str, damage: Callable[[Path], object]
) -> None:
    LotFolder(folder).put(measured)
    (path,) = folder.glob(f"*.{ending}") if ending == "png" else folder.glob(f"{measured.sha256}*.json")
    damage(path)
    assert not LotFolder(folder).measured()
    assert [w.name for w in LotFolder(folder).waiting()] == [measured.name]


def test_a_measurement_of_before_measurements_had_stamps_is_read(folder: Path, measured: Kept) -> None:
    lot = LotFolder(folder)
    stamp = lot.put(measured).stamp
    for ending in ("json", "png"):
        (folder / f"{measured.sha256}.{stamp}.{ending}").rename(folder / f"{measured.sha256}.{ending}")
    kept = json.loads((folder / "lot.json").read_bytes())
    for later in ("sums", "others"):
        del kept["photos"][0][later]
    del kept["clashes"]
    (folder / "lot.json").write_text(json.dumps(kept))
    assert LotFolder(folder).measured() == {measured.sha256: measured}
    LotFolder(folder).put(next(iter(LotFolder(folder).measured().values())))
    assert LotFolder(folder).measured() == {measured.sha256: measured}
    assert not LotFolder(folder).photo_clashes()
    assert len(list(folder.glob(f"{measured.sha256}*.json"))) == 1


def other(measured: Kept, word: str, stamp: str | None) -> Kept:
    """A measurement made from the one of a stamp."""
    return replace(measured, measured=measured.measured.model_copy(update={"statement": word}), stamp=stamp)


def test_a_measurement_made_from_the_last_one_takes_its_place(folder: Path, measured: Kept) -> None:
    lot = LotFolder(folder)
    first = lot.put(measured)
    second = lot.put(other(measured, "second", first.stamp))
    assert LotFolder(folder).measured() == {measured.sha256: second}
    assert not LotFolder(folder).photo_clashes()
    assert len(list(folder.glob("*.png"))) == 1, "files of measurements that nobody needs stay"


def test_of_two_measurements_made_from_the_same_one_both_are_kept_until_somebody_decides(
    folder: Path, measured: Kept
) -> None:
    one, two = LotFolder(folder), LotFolder(folder)
    first = one.put(measured)
    mine = one.put(other(measured, "mine", first.stamp))
    yours = two.put(other(measured, "yours", first.stamp))
    (clash,) = one.photo_clashes()
    assert (clash.now, clash.others) == (yours, (mine,))
    again = two.put(other(measured, "yours again", yours.stamp))
    (clash,) = one.photo_clashes()
    assert (clash.now, clash.others) == (again, (mine,))
    assert mine.stamp is not None
    two.settle_photo(measured.sha256, mine.stamp)
    assert one.measured() == {measured.sha256: mine}
    assert not one.photo_clashes()
    assert len(list(folder.glob("*.png"))) == 1


DAMAGED: dict[str, bytes] = {
    "empty": b"",
    "half": b'{"schema": 1, "entries": {"asking": "120 U',
    "no JSON": b"\x00\xff\x00",
    "deep": b'{"schema": 1, "entries": ' + b"[" * 100_000,
    "a list": b"[]",
    "a long number": b'{"schema": 1, "entries": {"count": 1' + b"0" * 400 + b'}, "facts": {}, "photos": []}',
    "no number": b'{"schema": 1, "entries": {"count": NaN}, "facts": {}, "photos": []}',
    "another kind of entry": b'{"schema": 1, "entries": {"count": [1]}, "facts": {}, "photos": []}',
    "a path for a photo": b'{"schema": 1, "entries": {}, "facts": {}, "photos": [{"sha256": "../../x", "name": "", '
    b'"is_sample": false, "measured": null}]}',
    "another version": b'{"schema": 7, "entries": {}, "facts": {}, "photos": []}',
}


@pytest.mark.parametrize("damage", DAMAGED)
def test_a_damaged_lot_is_told_and_never_written_over(folder: Path, measured: Kept, damage: str) -> None:
    lot = LotFolder(folder)
    lot.hand_in("front.jpg", b"front")
    lot.put(measured)
    place = folder / "lot.json"
    place.write_bytes(DAMAGED[damage])
    tries: list[Callable[[], Any]] = [
        lot.entries,
        lot.measured,
        lot.waiting,
        lambda: lot.set_entries({"asking": "1"}),
        lambda: lot.hand_in("back.jpg", b"back"),
        lambda: lot.put(measured),
    ]
    for attempt in tries:
        with pytest.raises(DataFileError) as caught:
            attempt()
        assert caught.value.code == "lot-damaged"
        assert str(place) in caught.value.message
        assert caught.value.advice
    assert place.read_bytes() == DAMAGED[damage]
    assert lots_in(folder.parent)
    aside = lot.begin_anew()
    assert aside is not None
    assert aside.read_bytes() == DAMAGED[damage]
    assert lot.photo(lot.waiting()[0].sha256) is not None
    lot.set_entries({"asking": "120 USD"})
    assert LotFolder(folder).entries() == {"asking": "120 USD"}


def test_a_second_damaged_file_does_not_take_the_place_of_the_first(folder: Path) -> None:
    lot = LotFolder(folder)
    asides = []
    for text in ("one", "two"):
        lot.set_entries({"asking": "1"})
        (folder / "lot.json").write_text(text)
        asides.append(lot.begin_anew())
    assert [aside.read_text() for aside in asides if aside is not None] == ["one", "two"]


def test_two_programs_at_once_lose_nothing(folder: Path) -> None:
    """As two pages on one lot; on today's disks and two cores they do get into each other's way."""
    work = (
        "import sys; from pathlib import Path; from app.lots.lot_folder import LotFolder\n"
        "lot = LotFolder(Path(sys.argv[1]))\n"
        "for n in range(150): lot.set_entries({f'{sys.argv[2]}-{n}': n})"
    )
    surroundings = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    programs = [
        subprocess.Popen([sys.executable, "-c", work, str(folder), name], env=surroundings) for name in ("a", "b")
    ]
    assert [program.wait(60) for program in programs] == [0, 0]
    assert len(LotFolder(folder).entries()) == 300


def test_a_lot_that_another_program_holds_is_busy_and_not_waited_for_for_ever(tmp_path: Path) -> None:
    hold = (
        "import sys, time; from pathlib import Path; from app.lots.process_lock import ProcessLock\n"
        "with ProcessLock(Path(sys.argv[1])): print('held', flush=True); time.sleep(60)"
    )
    surroundings = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    place = tmp_path / ".lock"
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(place)], env=surroundings, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(UsageError) as caught, ProcessLock(place, patience_s=0.1):
            pass
        assert caught.value.code == "lot-busy"
        holder.kill()
        holder.wait()
        with ProcessLock(place, patience_s=5), ProcessLock(place.with_name("another"), patience_s=0.1):
            pass


def test_a_change_is_flushed_to_the_disk_before_it_takes_its_place(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flushed: list[int] = []
    replaced: list[int] = []
    whole, flush = Path.replace, os.fsync
    monkeypatch.setattr(os, "fsync", lambda file: (flushed.append(file), flush(file)))
    monkeypatch.setattr(Path, "replace", lambda self, to: (replaced.append(len(flushed)), whole(self, to))[1])
    LotFolder(folder).set_entries({"asking": "120 USD"})
    assert replaced == [1]


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


def test_a_photo_taken_off_comes_back_with_what_was_done_on_it(folder: Path, measured: Kept) -> None:
    lot = LotFolder(folder)
    lot.hand_in(measured.name, b"photo")
    sha256 = hashlib.sha256(b"photo").hexdigest()
    done = lot.put(replace(measured, sha256=sha256))
    history = History(Corrections((LeftOut((1.0, 2.0)),), sha256), on=done.stamp)
    lot.keep_history(sha256, history)
    lay_aside(lot, sha256)
    assert (lot.measured(), lot.waiting(), lot.photo(sha256), lot.history(sha256)) == ({}, (), None, None)
    put_back(lot, sha256)
    assert LotFolder(folder).measured() == {sha256: done}
    assert (lot.photo(sha256), lot.history(sha256)) == (b"photo", history)
    lay_aside(lot, sha256)
    lot.hand_in("again.jpg", b"photo")
    put_back(lot, sha256)
    assert [photo.name for photo in lot.waiting()] == ["again.jpg"], "what was handed in anew stays"


def test_what_was_taken_off_is_removed_for_good_after_a_while(folder: Path) -> None:
    lot = LotFolder(folder)
    sha256 = lot.hand_in("a.jpg", b"photo").sha256
    lay_aside(lot, sha256)
    then = time.time()
    clear_old(folder.parent, 30, now=then + 29 * 86_400)
    assert len(list((folder / "off").iterdir())) == 2
    clear_old(folder.parent, 30, now=then + 31 * 86_400)
    assert not list((folder / "off").iterdir())
    put_back(lot, sha256)
    assert lot.waiting() == ()


def test_lots_are_listed_the_last_changed_first(folder: Path) -> None:
    place = folder.parent
    assert lots_in(place) == []
    first, second = new_key(), new_key()
    for key, at in ((first, 1_000), (second, 2_000)):
        LotFolder(place / key).set_entries({"asking": "120 USD"})
        os.utime(place / key / "lot.json", (at, at))
    (place / "stranger").mkdir()
    assert [(key, lot.changed_at) for key, lot in lots_in(place)] == [(second, 2_000), (first, 1_000)]


def test_a_deleted_lot_can_be_taken_out_of_the_bin_for_a_month(folder: Path) -> None:
    place, bin_, key, day = folder.parent / "in-progress", folder.parent / "bin", new_key(), 86_400
    lot = LotFolder(place / key)
    lot.hand_in("a.jpg", b"photo")
    lot.set_entries({"asking": "120 USD"})
    delete(lot, key, bin_, now=100 * day)
    assert lots_in(place) == []
    assert [(k, since) for k, _, since in in_bin(bin_, now=129.9 * day)] == [(key, 100 * day)]
    take_out(key, bin_, place)
    assert in_bin(bin_) == []
    (back,) = (each for _, each in lots_in(place))
    assert (back.entries(), back.photo_count) == ({"asking": "120 USD"}, 1)
    delete(back, key, bin_, now=100 * day)
    assert in_bin(bin_, now=130.1 * day) == []
    assert not list(bin_.glob("*/*")), "its photos are still there"


def test_a_lot_that_a_window_went_on_with_takes_over_what_comes_out_of_the_bin(folder: Path) -> None:
    place, bin_, key = folder.parent / "in-progress", folder.parent / "bin", new_key()
    lot = LotFolder(place / key)
    lot.hand_in("a.jpg", b"photo")
    delete(lot, key, bin_)
    lot.set_entries({"asking": "120 USD"})
    take_out(key, bin_, place)
    assert lot.entries() == {"asking": "120 USD"}
    assert [photo.name for photo in lot.waiting()] == ["a.jpg"]
    assert in_bin(bin_) == []


def test_a_lot_takes_over_the_photos_of_another_with_what_was_done_on_them(folder: Path, measured: Kept) -> None:
    one, other = LotFolder(folder.parent / new_key()), LotFolder(folder.parent / new_key())
    one.set_entries({"lot-name": "Shelf", "asking": ""})
    other.set_entries({"lot-name": "Box", "asking": "120 USD"})
    other.hand_in("a.jpg", b"photo")
    other.put(measured)
    other.keep_history(measured.sha256, History(Corrections((LeftOut((1.0, 2.0)),), measured.sha256)))
    assert take_over(one, other) == 2
    assert one.measured() == {measured.sha256: measured}
    assert [photo.name for photo in one.waiting()] == ["a.jpg"]
    assert one.history(measured.sha256) == other.history(measured.sha256)
    assert one.entries() == {"lot-name": "Shelf", "asking": "120 USD"}
    assert not one.clashes()
    assert take_over(one, other) == 2
    assert not one.photo_clashes(), "what is the same twice is no clash"
    assert len(other.measured()) == 1


def test_the_same_photo_corrected_in_both_lots_is_asked_about(folder: Path, measured: Kept) -> None:
    one, other = LotFolder(folder.parent / new_key()), LotFolder(folder.parent / new_key())
    one.put(measured)
    other.put(replace(measured, overlay=b"other"))
    take_over(one, other)
    (clash,) = one.photo_clashes()
    assert {clash.now.overlay, *(each.overlay for each in clash.others)} == {measured.overlay, b"other"}
