"""The file of thresholds: the shipped one, and what is wrong with a broken one."""

from pathlib import Path

import pytest

from calibration.errors import DataFileError
from grader.grade import example_thresholds_text, load_thresholds


def test_the_example_says_what_its_comments_say() -> None:
    t = load_thresholds()
    assert t.are_examples
    assert (t.currency, t.least_per_kg, t.least_per_h, t.cost_per_kg) == ("USD", 50.0, 6.0, 30.0)
    assert (t.chance, t.sale_chance, t.certainty) == (0.5, 0.5, 0.9)
    assert t.board_h.distribution.parameters == pytest.approx((0.3 / 60, 0.5 / 60, 1 / 60))


def test_a_file_of_one_s_own_is_no_example(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(example_thresholds_text().replace("USD", "EUR").replace('"0.05 EUR/g"', '"80 EUR/kg"'), "utf-8")
    t = load_thresholds(path)
    assert not t.are_examples
    assert (t.currency, t.least_per_kg) == ("EUR", 80.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"0.05 USD/g"', '"0.05"', "least_per_gram"),
        ('"0.05 USD/g"', '"0.05 USD/min"', "mass"),
        ('"0.05 USD/g"', '"0.01..0.05 USD/g"', "not one amount"),
        ('"0.05 USD/g"', '"0.05 EUR/g"', "several currencies"),
        ('"0.05 USD/g"', "0.05", "[process]"),
        ('"90 %"', '"30 %"', "certainty"),
        ('"0.3..0.5..1 min"', '"1..0.5 min"', "board"),
        ('"0.3..0.5..1 min"', '"3 g"', "board"),
        ("[order]", "[orders]", "[order]"),
        ("[order]", "[extra]\n[order]", "the tables must be"),
        ("[order]", "[order", "not valid TOML"),
    ],
)
def test_a_broken_file_is_refused_and_the_entry_named(tmp_path: Path, old: str, new: str, words: str) -> None:
    path = tmp_path / "mine.toml"
    text = example_thresholds_text()
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(DataFileError) as told:
        load_thresholds(path)
    assert "mine.toml" in told.value.message
    assert words in told.value.message
    assert told.value.advice


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match="cannot be read"):
        load_thresholds(tmp_path / "none.toml")
