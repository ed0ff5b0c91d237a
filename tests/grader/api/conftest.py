"""A user without log, check bar or figures of their own, and photos measured once for all tests."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

import grader
from grader import pipeline
from grader.photo import Photo
from grader.pipeline import Measurement, StepProgress
from grader.request import Request
from grader.samples import samples_folder

EDGE = [(431.1, 1137.2), (193.8, 344.3)]


@pytest.fixture(autouse=True)
def new_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty data folder, and a working folder to write to."""
    folder = tmp_path / "data"
    monkeypatch.setattr("grader.places.data_folder", lambda: folder)
    monkeypatch.chdir(tmp_path)
    return folder


_FOUND: dict[tuple[str, bytes], Measurement] = {}


def measured_once(photo: Photo, request: Request, progress: StepProgress | None) -> Measurement:
    """The pipeline, which does not measure the same photo twice in the same way; a measurement cannot change."""
    key = photo.sha256 + photo.name, pickle.dumps(request)
    if key not in _FOUND:
        _FOUND[key] = pipeline.measure(photo, request, progress)
    return _FOUND[key]


@pytest.fixture
def remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each photo is measured once in each way in all tests that take this."""
    monkeypatch.setattr("grader.api.measuring.measure_photo", measured_once)


@pytest.fixture(scope="session")
def modules() -> grader.MeasuredPhoto:
    """Four memory modules beside the printed target; published thickness, whoever runs the tests."""
    return grader.measure(samples_folder() / "memory-modules.jpg", published=True, print_check="no-such-file")


@pytest.fixture(scope="session")
def unscaled() -> grader.MeasuredPhoto:
    """A photo in which nothing gives the scale."""
    return grader.measure(samples_folder() / "listing-photo.jpg", published=True, print_check="no-such-file")
