"""Formulas, molar masses and reactions."""

from __future__ import annotations

import pytest

from calibration.errors import DataFileError
from grader.batch.chemistry import atomic_weights, atoms, molar_mass, reactions, read_equation


def test_atoms_of_formulas() -> None:
    assert atoms("HAuCl4") == {"H": 1, "Au": 1, "Cl": 4}
    assert atoms("Na2S2O5") == {"Na": 2, "S": 2, "O": 5}
    assert atoms("NO2") == {"N": 1, "O": 2}
    assert atoms("Co") == {"Co": 1}
    assert atoms("CO") == {"C": 1, "O": 1}


@pytest.mark.parametrize("text", ["", "cu", "Cu(OH)2", "2Cu", "H2O ", "Cu+"])
def test_what_is_no_formula_is_refused(text: str) -> None:
    with pytest.raises(DataFileError) as caught:
        atoms(text)
    assert caught.value.code == "formula-invalid"


def test_an_element_without_a_mass_is_refused() -> None:
    with pytest.raises(DataFileError, match="Fe"):
        molar_mass("FeCl3")


def test_every_mass_says_where_it_stands() -> None:
    assert all("CIAAW" in w.source and w.unit == "g/mol" for w in atomic_weights().values())


def test_mass_is_kept_by_every_reaction() -> None:
    for reaction in reactions().values():
        left, right = (
            sum(moles * molar_mass(formula) for formula, moles in side.items())
            for side in (reaction.left, reaction.right)
        )
        assert left == pytest.approx(right, rel=1e-12), reaction.equation


@pytest.mark.parametrize(
    "equation", ["Cu + H2O2 + HCl -> CuCl2 + 2 H2O", "Cu -> Ni", "2 Au + 3 SO2 + 6 H2O -> 2 Au + 3 H2SO4"]
)
def test_an_unbalanced_reaction_is_refused(equation: str) -> None:
    with pytest.raises(DataFileError) as caught:
        read_equation(equation)
    assert caught.value.code == "reaction-unbalanced"


@pytest.mark.parametrize(
    "equation", ["", "Cu", "Cu -> ", "Cu = Cu", "Cu -> Cu -> Cu", "Cu + Cu -> 2 Cu", "0 Cu -> Cu"]
)
def test_what_is_no_reaction_is_refused(equation: str) -> None:
    with pytest.raises(DataFileError):
        read_equation(equation)


def test_grams_and_moles_go_both_ways() -> None:
    reaction = reactions()["gold_by_metabisulfite"]
    assert reaction.moles("Na2S2O5", "Au") == 0.75
    assert reaction.grams("Na2S2O5", "Au") * reaction.grams("Au", "Na2S2O5") == pytest.approx(1.0)
