"""What an input is, in fields; its name only writes them."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.inputs import Input, split_name

ONE = Distribution("lognormal", (1.0, 0.2))
words = st.text(st.characters(exclude_characters=":", codec="utf-8"), min_size=1, max_size=12)
own_words = words.filter(lambda text: not text.startswith("belief-"))


@given(kind=words, of=st.lists(own_words, max_size=3), belief=st.sampled_from(["", "0c1d2e3f4a5b"]))
def test_a_name_can_be_split_into_the_fields_that_it_writes(kind: str, of: list[str], belief: str) -> None:
    made = Input(kind, "title", ONE, "test", of=tuple(of), belief=belief)
    assert split_name(made.name) == (kind, tuple(of), belief)
    assert made.is_recovered == bool(belief)


@given(kind=words, of=st.lists(st.text(max_size=9), max_size=3), belief=st.sampled_from(["", "0c1d2e3f4a5b"]))
def test_fields_come_back_from_json_whatever_their_text(kind: str, of: list[str], belief: str) -> None:
    made = Input(kind, "title", ONE, "test", "um", tuple(of), belief, "x")
    assert Input.from_json(json.loads(json.dumps(made.as_json()))) == made


@pytest.mark.parametrize(
    ("name", "kind", "of", "belief"),
    [
        ("spot", "spot", (), ""),
        ("scale-fit:3fa9c1d2e3f4", "scale-fit", ("3fa9c1d2e3f4",), ""),
        ("finish:3fa9c1d2e3f4:3-of-20", "finish", ("3fa9c1d2e3f4", "3-of-20"), ""),
        ("thickness:hard_gold:12345678:belief-0c1d2e3f4a5b", "thickness", ("hard_gold", "12345678"), "0c1d2e3f4a5b"),
    ],
)
def test_files_of_older_versions_hold_the_name_alone(name: str, kind: str, of: tuple[str, ...], belief: str) -> None:
    """And the draws are the same as then: they follow from the name."""
    old = {"name": name, "title": "t", "unit": "", "distribution": ONE.as_json(), "source": "s"}
    read = Input.from_json(old)
    assert (read.kind, read.of, read.belief, read.name) == (kind, of, belief, name)


@pytest.mark.parametrize("kind", ["", "thickness:hard_gold"])
def test_a_kind_is_one_word(kind: str) -> None:
    with pytest.raises(DataFileError) as refused:
        Input(kind, "title", ONE, "test")
    assert refused.value.code == "input-invalid"
