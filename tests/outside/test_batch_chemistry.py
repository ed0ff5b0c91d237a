"""Chemistry of a batch against packages, published figures and the trade.

Molar masses: periodictable 2.1 and molmass 2026.1, which carry their own tables. They differ on chlorine and sulfur
(a conventional value or the middle of the interval), by up to 1e-4: the tolerance is 2e-4.

Floors: figures as they stand in the sources named at each; "computed" ones were reckoned apart from this project with
chempy 0.10's balanced reactions.
"""

from __future__ import annotations

import molmass
import periodictable
import pytest

from grader.batch.chemistry import atomic_weights, molar_mass, reactions

TOLERANCE = 2e-4
FORMULAS = sorted({f for r in reactions().values() for f in (*r.left, *r.right)})


@pytest.mark.parametrize("formula", FORMULAS)
def test_molar_masses_agree_with_two_packages(formula: str) -> None:
    assert molar_mass(formula) == pytest.approx(periodictable.formula(formula).mass, rel=TOLERANCE)
    assert molar_mass(formula) == pytest.approx(molmass.Formula(formula).mass, rel=TOLERANCE)


@pytest.mark.parametrize("element", sorted(atomic_weights()))
def test_elements_agree_with_two_packages(element: str) -> None:
    value = atomic_weights()[element].value
    assert value == pytest.approx(getattr(periodictable, element).mass, rel=TOLERANCE)
    assert value == pytest.approx(molmass.ELEMENTS[element].mass, rel=TOLERANCE)


@pytest.mark.parametrize("name", sorted(reactions()))
def test_reactions_keep_mass_with_another_packages_masses(name: str) -> None:
    reaction = reactions()[name]
    left, right = (
        sum(n * periodictable.formula(f).mass for f, n in side.items()) for side in (reaction.left, reaction.right)
    )
    assert left == pytest.approx(right, rel=1e-9)


@pytest.mark.parametrize(
    ("name", "of", "per", "grams", "digits"),
    [
        # computed: 2 × 36.458 / 63.546 = 1.14745, written with its digits cut
        ("copper_by_peroxide", "HCl", "Cu", 1.1474, 1e-4),
        # computed: molar mass 34.014 over 63.546
        ("copper_by_peroxide", "H2O2", "Cu", 0.5353, 5e-5),
        # computed: 4 × 36.458 / 196.967; the equation also at goldrefiningforum.com, thread 35867 (read)
        ("gold_to_no", "HCl", "Au", 0.7404, 5e-5),
        ("gold_to_no", "HNO3", "Au", 0.3199, 5e-5),
        # computed: three times the nitric acid where it goes to NO2
        ("gold_to_no2", "HNO3", "Au", 0.9597, 5e-5),
        # computed: 3 × 190.0945 / (4 × 196.96657); × 1.2 is the 0.87 g of goldrefiningforum.com, thread 9434 (read)
        ("gold_by_metabisulfite", "Na2S2O5", "Au", 0.7238, 5e-5),
        # computed: 3 × 190.0945 / (4 × 63.012), and 97.094 / 63.012
        ("nitrate_by_metabisulfite", "Na2S2O5", "HNO3", 2.2626, 5e-5),
        ("nitrate_by_sulfamic_acid", "H3NSO3", "HNO3", 1.5408, 2e-4),
    ],
)
def test_floors_for_a_gram_of_metal(name: str, of: str, per: str, grams: float, digits: float) -> None:
    assert reactions()[name].grams(of, per) == pytest.approx(grams, abs=digits)


def test_metabisulfite_with_a_fifth_more_is_what_refiners_quote() -> None:
    # goldrefiningforum.com, thread 9434 (read): 0.87 g for each gram of gold, 20 % over the reaction
    assert round(1.2 * reactions()["gold_by_metabisulfite"].grams("Na2S2O5", "Au"), 2) == 0.87


def test_nitric_acid_against_sulfur_dioxide_is_two_to_three() -> None:
    # textbook half reactions: NO3- takes up three electrons on its way to NO, SO2 gives two (from memory)
    per_mol = reactions()["nitrate_by_metabisulfite"].moles("Na2S2O5", "HNO3")
    assert per_mol * reactions()["sulfur_dioxide_from_metabisulfite"].moles("SO2", "Na2S2O5") == pytest.approx(3 / 2)


def test_acid_for_the_peroxide_in_the_published_worked_example() -> None:
    # sxlist.com, copper chloride etchant (read): 100 g of 3 % peroxide, 0.088 mol, takes 6.42 g of HCl
    peroxide_mol = 3.0 / molar_mass("H2O2")
    assert round(peroxide_mol, 3) == 0.088
    acid = peroxide_mol * reactions()["copper_by_peroxide"].moles("HCl", "H2O2") * molar_mass("HCl")
    assert 6.4 <= acid <= 6.45


def test_sulfur_dioxide_that_gold_takes_up() -> None:
    # computed: 3 × 64.058 / (2 × 196.967) = 0.4878 g of SO2 for each gram of gold (2 Au : 3 SO2, not 1 : 3)
    per_gold = reactions()["gold_by_metabisulfite"].moles("Na2S2O5", "Au")
    dioxide = reactions()["sulfur_dioxide_from_metabisulfite"].moles("SO2", "Na2S2O5")
    assert per_gold * dioxide == pytest.approx(1.5)
    assert per_gold * dioxide * molar_mass("SO2") / molar_mass("Au") == pytest.approx(0.4878, abs=5e-5)
