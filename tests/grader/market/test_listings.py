"""Listings are found in folders and lists, here or wherever fsspec reads."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import fsspec
import pytest

from calibration.errors import DataFileError, UsageError
from grader.market.listings import read_market
from grader.market.results import Results


def test_each_folder_with_pictures_is_a_listing(tmp_path: Path) -> None:
    for name in ("b/2.jpg", "b/1.JPG", "a/x.heic", "none/readme.txt", "b/.hidden.jpg"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "a" / "listing.txt").write_text("Box of 30 memory modules\nPrice 40 USD\nPostage 6 USD\n")
    (tmp_path / "b" / "listing.toml").write_text('asking = "25 EUR"\nmass = "2 kg"\nseller = "somebody"\n')
    a, b = read_market(str(tmp_path))
    assert (a.name, b.name) == ("a", "b")
    assert [Path(p).name for p in b.pictures] == ["1.JPG", "2.jpg"]
    assert a.said == {"asking": "40 USD", "count": "30", "kind": "memory", "postage": "6 USD"}
    assert a.words["kind"] == "memory modules"
    assert b.said == {"asking": "25 EUR", "mass": "2 kg"}


def test_a_listing_without_pictures_is_not_forgotten(tmp_path: Path) -> None:
    for name in ("a", "b", "c", "notes"):
        (tmp_path / name).mkdir()
    (tmp_path / "a" / "1.jpg").write_bytes(b"")
    (tmp_path / "b" / "listing.txt").write_text("Price 40 USD")
    (tmp_path / "notes" / "shops.txt").write_text("where to look")
    found = {one.name: one.pictures for one in read_market(str(tmp_path))}
    assert sorted(found) == ["a", "b", "c"]
    assert found["b"] == found["c"] == ()


def test_a_text_that_cannot_be_read_is_told_and_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "1.png").write_bytes(b"")
    (tmp_path / "a" / "listing.toml").write_text("asking = [")
    (one,) = read_market(str(tmp_path))
    assert one.said == {}
    assert "not valid TOML" in one.trouble


def test_a_list_names_pictures_by_path_and_by_url(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text("listing,picture,asking\nx,in/1.jpg,12 USD\nx,memory://far/2.jpg,\ny,/abs/3.jpg,\n")
    x, y = read_market(str(path))
    assert x.pictures[0].endswith(f"{tmp_path.name}/in/1.jpg")
    assert x.pictures[1] == "memory://far/2.jpg"
    assert (x.said, y.said) == ({"asking": "12 USD"}, {})
    assert y.pictures == ("/abs/3.jpg",)


def test_folders_in_object_storage_are_read_by_their_url() -> None:
    files = fsspec.filesystem("memory")
    files.pipe({"/shop/one/1.jpg": b"", "/shop/one/listing.toml": b'asking = "5 USD"'})
    try:
        (one,) = read_market("memory://shop")
    finally:
        files.rm("/shop", recursive=True)
    assert one.pictures == ("memory:///shop/one/1.jpg",)
    assert one.said == {"asking": "5 USD"}


@pytest.mark.parametrize("use", [read_market, Results])
def test_storage_that_needs_a_package_names_it(use: Callable[[str], object], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "s3fs", None)  # as if it were not installed
    with pytest.raises(UsageError, match="Install s3fs") as told:
        use("s3://bucket/list.csv")
    assert told.value.code == "storage-missing"
    with pytest.raises(UsageError, match="unheard://") as told:
        use("unheard://of/it")
    assert told.value.code == "storage-unknown"


def test_what_is_wrong_is_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is no"):
        read_market(str(tmp_path / "gone"))
    with pytest.raises(UsageError, match="no pictures"):
        read_market(str(tmp_path))
    (tmp_path / "list.csv").write_text("name,file\na,b\n")
    with pytest.raises(DataFileError, match="columns"):
        read_market(str(tmp_path / "list.csv"))
