"""What a person says of the sheet, as a file holds it."""

import json

import pytest

from calibration.errors import DataFileError
from grader.listing import ListingCorrections, PhotoPoint, Saying, parse_listing_corrections

TEXT = """
without = ["table.jpg"]
[[sayings]]
say = "same"
one = ["1a2b3c4d", 310, 225]
other = ["front.jpg", 80.5, 91]
"""


def test_a_toml_file_says_which_boards_are_the_same() -> None:
    read = parse_listing_corrections(TEXT)
    assert read == ListingCorrections(
        (Saying("same", PhotoPoint("1a2b3c4d", (310.0, 225.0)), PhotoPoint("front.jpg", (80.5, 91.0))),),
        ("table.jpg",),
    )


def test_a_single_look_is_no_board_or_one() -> None:
    text = '[[sayings]]\nsay = "none"\none = ["1a2b", 3, 4]\n[[sayings]]\nsay = "board"\none = ["1a2b", 3, 4]'
    read = parse_listing_corrections(text)
    assert [(s.word, s.other) for s in read.sayings] == [("none", None), ("board", None)]
    assert parse_listing_corrections(json.dumps(read.as_json())) == read


def test_json_reads_back_equal() -> None:
    read = parse_listing_corrections(TEXT)
    assert parse_listing_corrections(json.dumps(read.as_json())) == read


@pytest.mark.parametrize(
    "text",
    [
        "sayings = 3",
        "{]",
        b"\xff\xfe",
        '[[sayings]]\nsay = "perhaps"\none = ["a", 1, 2]\nother = ["b", 1, 2]',
        '[[sayings]]\nsay = "same"\none = ["a", 1]\nother = ["b", 1, 2]',
        '[[sayings]]\nsay = "same"\none = ["", 1, 1]\nother = ["b", 1, 2]',
        "without = [1]",
    ],
)
def test_what_cannot_be_read_is_refused_with_its_code(text: str | bytes) -> None:
    with pytest.raises(DataFileError) as told:
        parse_listing_corrections(text)
    assert told.value.code == "listing-corrections-invalid"
