"""Gold of known areas, against figures that were reckoned outside the project.

Densities: 19.3 g/cm³ is ASTM B488-01's figure for pure gold (read). Units: 1 in = 25.4 mm exactly, international yard
and pound agreement of 1959 (read).
"""

from __future__ import annotations

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.sourced import load_figures
from calibration.thickness import Finish, GoldProperties, thickness_prior
from grader.gold import gold_mass
from grader.model import ProductModel, Term
from grader.units import parse_thickness_um

# Board edges as drawn in footprints of the KiCad library, Connector_PCBEdge.pretty (read): contacts of both faces
# together as (count, width mm, length mm). On PCI Express, A1 and one presence contact are shorter.
PCI_EXPRESS_X16 = ((162, 0.7, 4.3), (2, 0.7, 3.2))  # BUS_PCIexpress_x16.kicad_mod: 82 on each face
ISA_16 = ((98, 1.78, 7.62),)  # BUS_AT.kicad_mod: 62 + 36


def area(mm2: float) -> ProductModel:
    return ProductModel((Term(mm2, ()),), {})


def contacts(*rows: tuple[int, float, float]) -> ProductModel:
    return ProductModel(tuple(Term(count * width * length, ()) for count, width, length in rows), {})


def exactly(name: str, value: float, unit: str) -> Input:
    return Input.named(name, name, Distribution("constant", (value,)), "as stated in the test", unit)


def gold_mg(plated: ProductModel, thickness: str, density: float = 19.3, gold_fraction: float = 1.0) -> float:
    properties = GoldProperties(
        exactly("thickness", parse_thickness_um(thickness), "um"),
        exactly("density", density, "g/cm3"),
        exactly("gold_fraction", gold_fraction, ""),
    )
    draws = gold_mass({"hard_gold": plated}, {"hard_gold": properties}).total.draws(10)
    assert np.ptp(draws) == 0
    return float(draws[0])


def test_the_microinch() -> None:
    """30 µin = 0.762 µm (computed: 30 × 25.4 / 1000; a shop's offer prints "30u = 0.762 um", read)."""
    assert parse_thickness_um("30 uin") == pytest.approx(0.762, rel=1e-12)
    assert load_figures("constants")["inch"].value / 1000 == pytest.approx(
        load_figures("constants")["microinch"].value, rel=1e-12
    )


def test_one_square_centimetre_one_micrometre_thick() -> None:
    """1 cm² × 1 µm = 1.930 mg (computed: 1e-4 cm³ × 19.3 g/cm³)."""
    assert gold_mg(area(100.0), "1 um") == pytest.approx(1.930, rel=1e-12)


def test_one_square_centimetre_thirty_microinches_thick() -> None:
    """30 µin on 1 cm² = 1.4707 mg (computed: 0.762e-4 cm³ × 19.3 g/cm³ = 1.47066 mg)."""
    assert gold_mg(area(100.0), "30 uin") == pytest.approx(1.47066, rel=1e-12)


def test_one_square_inch_one_microinch_thick() -> None:
    """0.31627 mg/(in² µin) (computed: 2.54³ cm³ × 1e-6 × 19.3 g/cm³ = 0.316270...)."""
    assert gold_mg(area(25.4**2), "1 uin") == pytest.approx(0.31627, abs=5e-6)


def test_pci_express_x16_edge() -> None:
    """492.1 mm² on both faces, 7.24 mg at 30 µin of pure gold (computed from the footprint's dimensions, read)."""
    edge = contacts(*PCI_EXPRESS_X16)
    assert sum(count for count, _, _ in PCI_EXPRESS_X16) == 2 * 82
    assert edge.draws(1)[0] == pytest.approx(492.1, abs=0.005)
    assert gold_mg(edge, "30 uin") == pytest.approx(7.24, abs=0.005)


def test_pci_express_x16_edge_in_hard_gold() -> None:
    """6.47 mg (computed) with an alloy of 17.3 g/cm³ (from memory) that is 99.7 % gold (ASTM B488 type I, read)."""
    constants = load_figures("constants")
    found = gold_mg(
        contacts(*PCI_EXPRESS_X16),
        "30 uin",
        constants["density_hard_gold"].value,
        constants["gold_fraction_hard_gold_type_1"].value,
    )
    assert found == pytest.approx(6.47, abs=0.005)


def test_isa_16_edge() -> None:
    """1329.2 mm² on both faces, 19.5 mg at 30 µin of pure gold (computed from the footprint's dimensions, read)."""
    edge = contacts(*ISA_16)
    assert sum(count for count, _, _ in ISA_16) == 62 + 36
    assert edge.draws(1)[0] == pytest.approx(1329.2, abs=0.05)
    assert gold_mg(edge, "30 uin") == pytest.approx(19.5, abs=0.05)


@pytest.mark.parametrize(("finish", "window_um"), [("hard_gold", (0.762, 1.25)), ("immersion_gold", (0.05, 0.1))])
def test_the_priors_hold_what_standards_ask_for(finish: Finish, window_um: tuple[float, float]) -> None:
    """Published figures lie inside each prior's middle 90 %.

    Contacts: JEDEC's 30 µin (read) and IPC-6012 class 3's 1.25 µm (from memory). Immersion gold: IPC-4552's least
    0.05 µm of 2002 (read) and revision B's 0.10 µm (from memory).
    """
    low, high = np.quantile(thickness_prior(finish).draws(), [0.05, 0.95])
    for figure in window_um:
        assert low < figure < high


def test_trimmed_contacts_of_memory_modules() -> None:
    """The trade speaks of 1 to 3 g of gold a pound of trimmed module contacts (a blog, read, low authority).

    The strip is 72 % plated and weighs 0.30 g/cm² (finger size from memory, strip mass assumed; computed: 3.5 g/kg of
    pure gold at 30 µin). The prior's median must fall inside that band; its middle 90 % ends at 2.75, short of 3.
    """
    plated = area(1000 / 0.30 * 0.72 * 100)  # mm² a kilogram
    assert gold_mg(plated, "30 uin") == pytest.approx(3.5e3, rel=0.01)
    mg_per_kg = np.median(gold_mass({"hard_gold": plated}).total.draws())
    assert 1.0 < mg_per_kg / 1000 * load_figures("constants")["avoirdupois_pound"].value / 1000 < 3.0
