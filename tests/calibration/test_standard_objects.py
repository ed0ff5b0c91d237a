"""The list of things of known size: whole, sourced, and found by name."""

import math

import pytest

from calibration.errors import UsageError
from calibration.sourced import HOW_KNOWN
from calibration.standard_objects import object_named, standard_objects


@pytest.mark.parametrize("name", list(standard_objects()))
def test_every_entry_is_whole(name: str) -> None:
    known = standard_objects()[name]
    assert known.source
    assert known.how_known in HOW_KNOWN
    assert len(known.sizes_mm) == (2 if known.kind == "rectangle" else 1)
    assert 0 < known.size_sd_mm < 0.01 * max(known.sizes_mm)
    assert (known.thickness_mm is not None) == (known.kind == "coin")
    assert known.outline != "flats" or known.note


def test_coins_of_several_countries_are_there() -> None:
    coins = [o.name for o in standard_objects().values() if o.kind == "coin"]
    assert len(coins) >= 25
    for land in ("US", "euro", "UK", "Canadian"):
        assert sum(land in name for name in coins) >= 5


def test_a_tolerance_is_a_uniform_law() -> None:
    assert object_named("A4 sheet", "rectangle").size_sd_mm == pytest.approx(2 / math.sqrt(3))


def test_names_are_found_in_any_case_and_only_of_the_kind_asked_for() -> None:
    assert object_named("  us  QUARTER ", "coin").sizes_mm == (24.26,)
    with pytest.raises(UsageError) as caught:
        object_named("US quarter", "rectangle")
    assert caught.value.code == "object-unknown"
    assert "ID-1 card" in caught.value.advice
    assert "US cent" not in caught.value.advice
