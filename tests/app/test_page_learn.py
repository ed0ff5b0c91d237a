"""Learn: what the log teaches is shown, and what is entered there is what the log holds."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from grader.learn.invented import write_invented
from grader.log import open_log


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("filled") / "log.sqlite"
    write_invented(path, 8)
    return path.read_bytes()


@pytest.fixture
def learn_page(page: Any, log_file: Path, filled: bytes) -> Any:
    log_file.write_bytes(filled)
    page.go("learn/page.py")
    return page


def test_without_a_log_it_says_how_to_begin(page: Any, log_file: Path) -> None:
    page.go("learn/page.py")
    assert any("No lot is kept yet" in text for text in page.told("markdown"))
    assert not page.at.error
    assert not log_file.exists()


def test_what_was_learned_is_shown_with_pictures(learn_page: Any) -> None:
    told = " ".join(learn_page.told("markdown"))
    assert "rests on 8 yields" in told
    assert "in their 90 % range" in told
    assert "Lot 08" in learn_page.html()
    assert "Paid for a gram" in learn_page.html()
    assert len(learn_page.at.get("vega_lite_chart")) + len(learn_page.at.get("arrow_vega_lite_chart")) == 3


def test_gold_in_the_tables_follows_the_chosen_unit(learn_page: Any) -> None:
    for file in ("learn/page.py", "log/page.py"):
        learn_page.go(file)
        assert re.search(r"[0-9] m?g<", learn_page.html())
    learn_page.go("start/page.py")
    learn_page.at.selectbox(key="mass-unit").set_value("ozt")
    learn_page.run()
    for file in ("learn/page.py", "log/page.py"):
        learn_page.go(file)
        cells = re.findall(r'data-title="(?:Fine gold|Gold) weighed"[^>]*>([^<]+)<', learn_page.html())
        assert cells
        assert all(cell.endswith(" ozt") for cell in cells)


def test_a_yield_is_left_out_and_taken_in_again(learn_page: Any, log_file: Path) -> None:
    learn_page.press("Leave it out")
    assert any("reason" in text for text in learn_page.told("error"))
    learn_page.type("Why it should not be learned from", "spilled")
    learn_page.press("Leave it out")
    assert any("rests on 7 yields" in text for text in learn_page.told("markdown"))
    learn_page.type("Why it should count again", "it was not")
    learn_page.press("Learn from it again")
    assert any("rests on 8 yields" in text for text in learn_page.told("markdown"))
    with open_log(log_file) as log:
        assert [e.excluded for e in log.contents().exclusions] == [True, False]


def test_a_yield_is_corrected(learn_page: Any, log_file: Path) -> None:
    learn_page.type("Gold as it should have been entered", "0.4 g")
    learn_page.press("Correct it")
    assert any("reason" in text for text in learn_page.told("error"))
    learn_page.type("What was wrong", "misread")
    learn_page.press("Correct it")
    with open_log(log_file) as log:
        contents = log.contents()
    assert len(contents.yields) == 9
    newest = contents.yields[-1]
    assert (newest.mass_mg, newest.corrects, newest.reason) == (400, 1, "misread")
    assert newest.fineness == contents.yields[0].fineness


def test_a_process_is_marked(learn_page: Any, log_file: Path) -> None:
    learn_page.type("What changed, or why", "finer filters")
    learn_page.press("Mark it")
    with open_log(log_file) as log:
        (mark,) = log.contents().marks
    assert (mark.kind, mark.note) == ("process", "finer filters")


def test_yields_come_from_a_file(learn_page: Any, log_file: Path) -> None:
    upload = learn_page.at.file_uploader(key="csv")
    upload.set_value([("yields.csv", b"lot,mass,weighed_on\nLot 01,0.4,2026-03-01\n", "text/csv")])
    learn_page.run()
    assert "unit" in learn_page.html()
    assert not any(b.label.startswith("Record th") for b in learn_page.at.button)
    learn_page.at.file_uploader(key="csv").set_value(
        [("yields.csv", b"lot,mass,weighed_on\nLot 01,0.4 g,2026-03-01\n", "text/csv")]
    )
    learn_page.run()
    learn_page.press("Add this yield")
    with open_log(log_file) as log:
        assert len(log.contents().yields) == 9


def test_a_photo_is_measured_with_what_was_learned(
    page: Any, log_file: Path, filled: bytes, sample: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    log_file.write_bytes(filled)
    page.run()
    page.upload(("boards.jpg", sample.path.read_bytes()))
    (kind,) = (s for s in page.at.selectbox if s.label == "Kind of boards")
    kind.set_value("memory strips")
    (done,) = page.at.session_state["shelf"].values()
    names = list(done.measured.gold.inputs)
    assert any(":belief-" in name for name in names)
    assert any("8 weighed batches" in text for text in page.told("markdown"))
