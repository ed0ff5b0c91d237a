from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest

from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.sourced import HOW_KNOWN, SourcedValue, load_figures, load_inputs, parse, parse_inputs

FIGURE = """
[density_gold]
value = 19.3
low = 19.2
high = 19.4
unit = "g/cm3"
source = "a handbook"
how_known = "read"
"""
INPUT = """
["gold_fraction:hard_gold"]
title = "gold in the plating"
distribution = { kind = "triangular", low = 0.98, mode = 0.99, high = 1 }
unit = ""
source = "a handbook"
how_known = "judgement"
"""


def without(text: str, key: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith(f"{key} ="))


def test_a_figure_is_read_with_its_source() -> None:
    figure = parse(FIGURE, "test")["density_gold"]
    assert figure == SourcedValue("density_gold", 19.3, 19.2, 19.4, "g/cm3", "a handbook", "read")
    with pytest.raises(FrozenInstanceError):
        figure.value = 1.0  # type: ignore[misc]


def test_bounds_are_optional() -> None:
    figure = parse(without(without(FIGURE, "low"), "high"), "test")["density_gold"]
    assert (figure.low, figure.high) == (None, None)


def test_an_input_is_read_by_parameter_names_whatever_their_order() -> None:
    other_order = INPUT.replace("low = 0.98, mode = 0.99, high = 1", "high = 1, low = 0.98, mode = 0.99")
    for text in (INPUT, other_order):
        found = parse_inputs(text, "test")["gold_fraction:hard_gold"]
        assert found.name == "gold_fraction:hard_gold"
        assert found.distribution == Distribution("triangular", (0.98, 0.99, 1.0))
        assert found.source == "a handbook (judgement)"


@pytest.mark.parametrize("key", ["value", "unit", "source", "how_known"])
def test_a_figure_lacking_anything_is_refused(key: str) -> None:
    with pytest.raises(DataFileError, match=f"density_gold: {key}"):
        parse(without(FIGURE, key), "test")


@pytest.mark.parametrize("key", ["title", "distribution", "unit", "source", "how_known"])
def test_an_input_lacking_anything_is_refused(key: str) -> None:
    with pytest.raises(DataFileError, match=f"hard_gold: {key}"):
        parse_inputs(without(INPUT, key), "test")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"a handbook"', '"  "'),
        ('"read"', '"surely"'),
        ("19.3", "true"),
        ("19.3", "nan"),
        ("19.3", '"19.3"'),
        ("low = 19.2", "low = 19.35"),
        ("high = 19.4", "high = 19.25"),
        ("low =", "lowest ="),
        ("[density_gold]", "[density_gold"),
        ("[density_gold]", ""),
    ],
)
def test_a_wrong_figure_is_refused(old: str, new: str) -> None:
    with pytest.raises(DataFileError) as caught:
        parse(FIGURE.replace(old, new), "test")
    assert caught.value.code == "data-file-invalid"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"triangular"', '"dice"'),
        (", mode = 0.99", ""),
        ("mode = 0.99", "mode = 2"),
        ("mode = 0.99", "mode = 0.99, sd = 1"),
    ],
)
def test_a_wrong_distribution_is_refused(old: str, new: str) -> None:
    with pytest.raises(DataFileError) as caught:
        parse_inputs(INPUT.replace(old, new), "test")
    assert caught.value.code == "data-file-invalid"


@pytest.mark.parametrize("name", ["no_such_file", "../errors", "", "data/constants"])
def test_a_name_that_is_no_packaged_file_is_refused(name: str) -> None:
    for loader in (load_figures, load_inputs):
        with pytest.raises(DataFileError) as caught:
            loader(name)
        assert caught.value.code == "data-file-missing"


def test_what_was_read_cannot_be_changed() -> None:
    figures = parse(FIGURE, "test")
    with pytest.raises(TypeError):
        figures["density_gold"] = figures["density_gold"]  # type: ignore[index]


def test_every_way_of_knowing_is_accepted() -> None:
    for how in HOW_KNOWN:
        assert parse(FIGURE.replace('"read"', f'"{how}"'), "test")["density_gold"].how_known == how
