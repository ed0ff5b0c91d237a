"""Results are written whole, and nothing but a file is ever replaced by one."""

import errno
import os
import socket
import stat
import threading
from pathlib import Path

import pytest

from calibration.errors import UsageError
from calibration.files import advice_for, check_place, is_file, is_folder, is_there, write_whole

posix = pytest.mark.skipif(os.name != "posix", reason="named pipes and sockets of POSIX")


def refused(path: Path) -> UsageError:
    with pytest.raises(UsageError) as early:
        check_place(path)
    with pytest.raises(UsageError) as late:
        write_whole(path, b"new")
    assert early.value.code == late.value.code == "cannot-write"
    assert early.value.message == late.value.message
    return late.value


# --- links


def test_a_link_is_followed_and_the_file_behind_it_is_replaced_in_one_step(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    real = tmp_path / "elsewhere" / "real.json"
    real.write_bytes(b"old")
    real.chmod(0o640)
    (tmp_path / "middle").symlink_to(real)
    link = tmp_path / "link.json"
    link.symlink_to("middle")
    before = real.stat().st_ino
    check_place(link)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert (tmp_path / "middle").is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_ino != before
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert sorted(p.name for p in real.parent.iterdir()) == ["real.json"]


def test_a_link_to_nothing_makes_the_file_that_it_names(tmp_path: Path) -> None:
    link = tmp_path / "link.json"
    link.symlink_to("later.json")
    check_place(link)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert (tmp_path / "later.json").read_bytes() == b"new"


def test_a_link_into_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    link = tmp_path / "link.json"
    link.symlink_to(tmp_path / "no" / "such.json")
    for act in (check_place, lambda path: write_whole(path, b"new")):
        with pytest.raises(UsageError) as caught:
            act(link)
        assert caught.value.code == "cannot-write"
    assert link.is_symlink()


def test_links_in_a_circle_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    assert "links" in refused(tmp_path / "a").advice


# --- pipes, sockets, devices


@posix
def test_a_named_pipe_is_written_to_and_stays_one(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()))
    reader.start()
    check_place(pipe)
    write_whole(pipe, b"x" * 200_000)  # more than a pipe holds
    reader.join(10)
    assert read == [b"x" * 200_000]
    assert stat.S_ISFIFO(pipe.lstat().st_mode)


@posix
def test_a_pipe_behind_a_link_is_written_to(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    link = tmp_path / "link"
    link.symlink_to("pipe")
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(link.read_bytes()))
    reader.start()
    write_whole(link, b"new")
    reader.join(10)
    assert read == [b"new"]
    assert link.is_symlink()


@posix
def test_a_pipe_that_nobody_reads_is_not_waited_for_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("calibration.files._READER_S", 0.2)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    check_place(pipe)
    with pytest.raises(UsageError) as caught:
        write_whole(pipe, b"new")
    assert "reads" in caught.value.advice
    assert stat.S_ISFIFO(pipe.lstat().st_mode)


@posix
def test_a_socket_is_refused_and_stays_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # the name of a socket must be short
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind("socket")
        assert "socket" in refused(tmp_path / "socket").message
        assert stat.S_ISSOCK((tmp_path / "socket").lstat().st_mode)


def made_device(path: Path, kind: int, major: int, minor: int) -> None:
    try:
        os.mknod(path, 0o600 | kind, os.makedev(major, minor))
        path.stat()
    except (AttributeError, OSError) as error:
        pytest.skip(f"no device can be made here: {error}")


def test_a_device_is_written_to_and_stays_one(tmp_path: Path) -> None:
    device = tmp_path / "null"
    made_device(device, stat.S_IFCHR, 1, 3)
    check_place(device)
    try:
        device.open("wb").close()
    except PermissionError as error:
        pytest.skip(f"devices do not work in this folder: {error}")
    write_whole(device, b"new")
    assert stat.S_ISCHR(device.lstat().st_mode)


def test_a_disk_is_refused_and_stays_one(tmp_path: Path) -> None:
    device = tmp_path / "disk"
    made_device(device, stat.S_IFBLK, 7, 250)
    assert "disk" in refused(device).message
    assert stat.S_ISBLK(device.lstat().st_mode)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_a_full_disk_gets_advice_of_its_own() -> None:
    with pytest.raises(UsageError) as caught:
        write_whole(Path("/dev/full"), b"new")
    assert "full" in caught.value.advice
    assert "yours" not in caught.value.advice
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="no /proc")
def test_a_file_that_is_open_as_a_process_output_keeps_its_place(tmp_path: Path) -> None:
    target = tmp_path / "out.txt"
    with target.open("wb") as file:
        file.write(b"said before")
        file.flush()
        before = target.stat().st_ino
        assert "open" in refused(Path(f"/dev/fd/{file.fileno()}")).message
    assert target.read_bytes() == b"said before"
    assert target.stat().st_ino == before


# --- names


@pytest.mark.parametrize("name", ["x" * 300, "x" * 255 + ".json", "a\0b"])
def test_a_name_that_cannot_be_is_refused_early_and_late(tmp_path: Path, name: str) -> None:
    refused(tmp_path / name)


def test_the_longest_name_that_can_be_is_written(tmp_path: Path) -> None:
    path = tmp_path / ("x" * 255)
    check_place(path)
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"


@pytest.mark.parametrize("ask", [is_there, is_file, is_folder])
@pytest.mark.parametrize("name", ["x" * 300, "a\0b", "x/" * 3000])
def test_nothing_is_at_a_name_that_cannot_be(ask: object, name: str) -> None:
    assert ask(Path(name)) is False  # type: ignore[operator]


def test_a_folder_is_refused(tmp_path: Path) -> None:
    assert "folder" in refused(tmp_path).message


def test_an_error_that_nothing_is_known_of_gets_the_advice_of_its_place() -> None:
    assert advice_for(OSError(errno.EBADF, "bad"), "Look there.") == "Look there."
    assert advice_for(OSError("no number"), "Look there.") == "Look there."
