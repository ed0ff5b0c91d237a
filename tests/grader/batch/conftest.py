"""Charges and process sets whose every figure is one number."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from grader.batch import Feed, Given, Process, charge_of, load_process

EXACT = {
    "liquor_per_board": "2 ml/g",
    "acid_per_peroxide": "2",
    "fill": "80 %",
    "hydrochloric_strength": "12 mol/l",
    "peroxide_strength": "0.9 mol/l",
    "peroxide_used": "50 %",
    "copper_thickness": "50 um",
    "nickel_thickness": "4 um",
    "bare_copper": "20 %",
    "hydrochloric_as_vapour": "10 %",
    "days_per_load": "7 days",
    "hours_per_load": "1 h",
    "filters_per_load": "2",
    "rinses": "3",
    "rinse_per_board": "1 ml/g",
    "drag_out": "10 %",
    "nitric_per_gold": "1.5 ml/g",
    "least_nitric": "10 ml",
    "acid_per_nitric": "3",
    "nitric_strength": "15.7 mol/l",
    "gold_dilution": "3",
    "nitrate_left": "80 %",
    "sulfamic_excess": "1.25",
    "nitrate_after": "1 %",
    "hours_denitrating": "0.5 h",
    "metabisulfite_per_gold": "1.2 g/g",
    "days_refining": "2 days",
    "hours_refining": "3 h",
    "price_hydrochloric": "6 USD/l",
    "price_peroxide": "3 USD/l",
    "price_nitric": "40 USD/l",
    "price_sulfamic": "15 USD/kg",
    "price_metabisulfite": "10 USD/kg",
    "price_filter": "0.5 USD",
    "price_rinse_disposal": "1 USD/l",
}


@pytest.fixture
def exact(tmp_path: Path) -> Callable[..., Process]:
    """Makes a process set of single numbers, some of them changed."""

    def make(**changes: str) -> Process:
        path = tmp_path / "exact.toml"
        entries = {**EXACT, **changes}
        path.write_text(
            'currency = "USD"\n' + "".join(f'[{key}]\nestimate = "{text}"\n' for key, text in entries.items()),
            "utf-8",
        )
        return load_process(str(path))

    return make


def charge(mass: str = "400 g", area: str = "100 cm2", gold: str = "150 mg", bare: str = "") -> Feed:
    return charge_of(Given(mass, gold, area, bare))


@pytest.fixture
def charged() -> Callable[..., Feed]:
    """Makes a charge from texts."""
    return charge
