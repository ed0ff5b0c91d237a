"""A page under test, its own log and data folder, and one real photo measured once."""

from __future__ import annotations

import re
import sys
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from app.lots.shelf import Kept
from grader.measured import Measured
from grader.photo import load_photo
from grader.pipeline import measure
from grader.report import overlay_png
from grader.request import Request
from grader.samples import Sample, load_demo

MEASURE_S = 120
MAIN = Path(__file__).parents[2] / "app" / "main.py"


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


class Page:
    """The page as a person uses it; every step must leave it without an exception."""

    def __init__(self) -> None:
        self.at = AppTest.from_file(str(MAIN), default_timeout=120)
        self.run()
        self.go("measure/page.py")

    def run(self) -> None:
        """Draw the page anew."""
        self.at.run()
        assert not self.at.exception

    def is_measuring(self) -> bool:
        """Whether the page shows how far measuring is."""
        return len(self.at.get("progress")) > 0

    def wait(self) -> None:
        """Look at the page again until nothing is being measured."""
        end = time.monotonic() + MEASURE_S
        while self.is_measuring():
            assert time.monotonic() < end, "measuring does not end"
            time.sleep(0.1)
            self.run()

    def go(self, file: str) -> None:
        """Open another page."""
        self.at.switch_page(file)
        self.run()

    def press(self, label: str) -> None:
        """Press the one button of that label."""
        (button,) = (b for b in self.at.button if b.label == label)
        assert not button.disabled
        button.click()
        self.run()
        self.wait()

    def upload(self, *files: tuple[str, bytes]) -> None:
        """Choose photos, and wait until they are measured."""
        self.at.file_uploader(key="photos").set_value([(name, data, "image/jpeg") for name, data in files])
        self.run()
        self.wait()

    def type(self, label: str, text: str) -> None:
        """Fill in the one text field of that label; what it leads to is seen after the next step."""
        (field,) = (f for f in self.at.text_input if f.label == label)
        field.set_value(text)

    def told(self, kind: str) -> list[str]:
        """Texts of a kind of element as a person reads them: without the page's escapes, any space a space."""
        texts = (str(e.value).replace("\N{NO-BREAK SPACE}", " ") for e in getattr(self.at, kind))
        return [re.sub(r"\\(.)", r"\1", text) for text in texts]

    def figures(self) -> dict[str, str]:
        """The large figures by their labels."""
        return {re.sub(r"\\(.)", r"\1", m.label): m.value for m in self.at.metric}

    def html(self) -> str:
        """All tables, lists, bars and legends; any space a space."""
        return "\n".join(str(e.value) for e in self.at.html).replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture
def page(tmp_path: Path, log_file: Path, monkeypatch: pytest.MonkeyPatch, search_once: None) -> Page:
    """The page, started as the command line starts it, on the page Measure."""
    monkeypatch.setattr(sys, "argv", [str(MAIN), "--log", str(log_file)])
    monkeypatch.setattr("grader.places.data_folder", lambda: tmp_path / "data")
    return Page()


@pytest.fixture(scope="session")
def sample() -> Sample:
    """A demo photo that our printed target is in."""
    return load_demo().samples[0]


@pytest.fixture(scope="session")
def measured(sample: Sample) -> Kept:
    """That photo, measured without the page."""
    photo = load_photo(sample.path)
    done = measure(photo, Request())
    return Kept(photo.name, photo.sha256, Request(), Measured.of(done), overlay_png(done), is_sample=False)


@pytest.fixture(scope="session")
def plain_photo() -> bytes:
    """A photo of nothing: no target, no gold."""
    noise = np.random.default_rng(1).normal(120, 4, (300, 400, 3))
    return bytes(cv2.imencode(".png", np.clip(noise, 0, 255).astype(np.uint8))[1])


@pytest.fixture
def value_page(page: Any, measured: Kept) -> Any:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("value/page.py")
    return page
