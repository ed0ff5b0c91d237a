"""A user without log, check bar or figures of their own, and photos measured once for all tests."""

from __future__ import annotations

from pathlib import Path

import pytest

import grader
from grader.samples import samples_folder

EDGE = [(431.1, 1137.2), (193.8, 344.3)]


@pytest.fixture(autouse=True)
def new_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty data folder, and a working folder to write to."""
    folder = tmp_path / "data"
    monkeypatch.setattr("grader.places.data_folder", lambda: folder)
    monkeypatch.chdir(tmp_path)
    return folder


@pytest.fixture(scope="session")
def modules() -> grader.MeasuredPhoto:
    """Four memory modules beside the printed target; published thickness, whoever runs the tests."""
    return grader.measure(samples_folder() / "memory-modules.jpg", published=True, print_check="no-such-file")


@pytest.fixture(scope="session")
def unscaled() -> grader.MeasuredPhoto:
    """A photo in which nothing gives the scale."""
    return grader.measure(samples_folder() / "listing-photo.jpg", published=True, print_check="no-such-file")
