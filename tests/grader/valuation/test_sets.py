"""Named sets of assumptions."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.errors import DataFileError, UsageError
from grader.valuation import example_text, load_assumptions, load_set, sets_in


def test_a_set_by_name_a_file_by_path_and_the_examples(tmp_path: Path) -> None:
    folder = tmp_path / "assumptions"
    assert sets_in(folder) == {}
    assert load_set(None, folder) == load_assumptions()
    folder.mkdir()
    (folder / "winter.toml").write_text(example_text().replace('"85..94..99 %"', '"90 %"'), "utf-8")
    (folder / "notes.txt").write_text("no set", "utf-8")
    assert list(sets_in(folder)) == ["winter"]
    winter = load_set("winter", folder)
    assert winter.recovery.distribution.parameters == (0.9,)
    assert winter.examples == frozenset()
    assert load_set(str(folder / "winter.toml"), tmp_path / "elsewhere") == winter


def test_what_is_neither_is_refused_and_says_where_sets_are(tmp_path: Path) -> None:
    (tmp_path / "winter.toml").write_text(example_text(), "utf-8")
    with pytest.raises(UsageError) as caught:
        load_set("summer", tmp_path)
    assert caught.value.code == "assumptions-unknown"
    assert "winter" in caught.value.message
    assert str(tmp_path) in caught.value.message
    with pytest.raises(DataFileError):
        load_set(str(tmp_path / "gone.toml"), tmp_path)
