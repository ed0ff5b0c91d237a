"""The chemistry of a batch on draws: metal that dissolves, reagents and their floors, gases, waste.

Every function takes and gives float64 (n,) arrays that belong together draw by draw.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from grader.batch.chemistry import molar_mass, reactions
from grader.batch.figures import fixed

FigureDraws = dict[str, FloatArray]

# 1 mm² × 1 µm × 1 g/cm³ = 1e-6 cm³ × 1 g/cm³
_G_PER_MM2_UM_G_CM3 = 1e-6


@dataclass(frozen=True)
class Metals:
    """Metal that goes into solution, g."""

    copper: FloatArray
    nickel: FloatArray
    gold: FloatArray

    @property
    def base_mol(self) -> FloatArray:
        """Copper and nickel together."""
        return self.copper / molar_mass("Cu") + self.nickel / molar_mass("Ni")

    @property
    def gold_mol(self) -> FloatArray:
        """Gold."""
        return self.gold / molar_mass("Au")


def metals(f: FigureDraws, plated_mm2: FloatArray, bare_mm2: FloatArray | None, gold_mg: FloatArray) -> Metals:
    """Copper from plated and open area × thickness, nickel from plated area × thickness."""
    bare = plated_mm2 * f["bare_copper"] if bare_mm2 is None else bare_mm2
    density = {name: fixed()[f"density_{name}"].value * _G_PER_MM2_UM_G_CM3 for name in ("copper", "nickel")}
    return Metals(
        (plated_mm2 + bare) * f["copper_thickness"] * density["copper"],
        plated_mm2 * f["nickel_thickness"] * density["nickel"],
        gold_mg * 1e-3,
    )


@dataclass(frozen=True)
class Reagents:
    """Planned amounts and floors, ml but for sulfamic acid and metabisulfite in g."""

    liquor: FloatArray
    peroxide: FloatArray
    strip_acid: FloatArray
    strip_acid_floor: FloatArray
    nitric: FloatArray
    nitric_floor: FloatArray
    gold_acid: FloatArray
    gold_acid_floor: FloatArray
    sulfamic: FloatArray
    sulfamic_floor: FloatArray
    metabisulfite: FloatArray
    metabisulfite_floor: FloatArray


def reagents(f: FigureDraws, mass_g: FloatArray, m: Metals) -> Reagents:
    """Amounts by the process's figures, and what the reactions use up.

    Nitric acid that the gold leaves over is destroyed first; what that does not reach uses up metabisulfite.
    """
    known = reactions()
    liquor = mass_g * f["liquor_per_board"]
    peroxide = liquor / (1 + f["acid_per_peroxide"])
    nitric = np.maximum(m.gold * f["nitric_per_gold"], f["least_nitric"])
    acid_ml = 1e3 / f["hydrochloric_strength"]
    nitric_ml = 1e3 / f["nitric_strength"]
    over = leftover_nitric_mol(f, nitric, m)
    sulfamic_floor = over * known["nitrate_by_sulfamic_acid"].moles("H3NSO3", "HNO3") * molar_mass("H3NSO3")
    eaten = metabisulfite_for_nitric_g(over * f["nitrate_after"])
    return Reagents(
        liquor=liquor,
        peroxide=peroxide,
        strip_acid=liquor - peroxide,
        strip_acid_floor=m.base_mol * known["copper_by_peroxide"].moles("HCl", "Cu") * acid_ml,
        nitric=nitric,
        nitric_floor=m.gold_mol * known["gold_to_no"].moles("HNO3", "Au") * nitric_ml,
        gold_acid=nitric * f["acid_per_nitric"],
        gold_acid_floor=m.gold_mol * known["gold_to_no"].moles("HCl", "Au") * acid_ml,
        sulfamic=sulfamic_floor * f["sulfamic_excess"],
        sulfamic_floor=sulfamic_floor,
        metabisulfite=m.gold * f["metabisulfite_per_gold"] + eaten,
        metabisulfite_floor=m.gold * known["gold_by_metabisulfite"].grams("Na2S2O5", "Au") + eaten,
    )


def leftover_nitric_mol(f: FigureDraws, nitric_ml: FloatArray, m: Metals) -> FloatArray:
    """Nitric acid that is still there when the gold is dissolved, of which the gold uses up the least that it can."""
    used = m.gold_mol * reactions()["gold_to_no"].moles("HNO3", "Au")
    return np.asarray(np.maximum(nitric_ml * f["nitric_strength"] * 1e-3 - used, 0.0) * f["nitrate_left"])


def metabisulfite_for_nitric_g(nitric_mol: FloatArray) -> FloatArray:
    """Metabisulfite that nitric acid uses up."""
    per_mol = reactions()["nitrate_by_metabisulfite"].moles("Na2S2O5", "HNO3") * molar_mass("Na2S2O5")
    return np.asarray(nitric_mol * per_mol)


@dataclass(frozen=True)
class Oxidant:
    """What peroxide and air oxidise: see ``grader.batch.model.Oxidation``."""

    peroxide_alone_g: FloatArray
    peroxide_needed_ml: FloatArray
    share_by_peroxide: FloatArray
    air_l: FloatArray


def oxidant(f: FigureDraws, r: Reagents, m: Metals) -> Oxidant:
    """Peroxide oxidises mole by mole; what it leaves takes half a mole of oxygen each."""
    known, figures = reactions(), fixed()
    per_cu = known["copper_by_peroxide"].moles("H2O2", "Cu")
    peroxide_mol = r.peroxide * f["peroxide_strength"] * 1e-3
    need = m.base_mol
    done = np.minimum(peroxide_mol * f["peroxide_used"] / per_cu, need)
    oxygen_l = (need - done) * known["copper_by_air"].moles("O2", "Cu") * figures["gas_molar_volume"].value
    return Oxidant(
        peroxide_alone_g=peroxide_mol / per_cu * molar_mass("Cu"),
        peroxide_needed_ml=need * per_cu / f["peroxide_strength"] * 1e3,
        share_by_peroxide=np.divide(done, need, out=np.ones_like(need), where=need > 0),
        air_l=oxygen_l / figures["oxygen_in_air"].value,
    )


@dataclass(frozen=True)
class Gases:
    """Gas given off, mol."""

    strip_vapour: FloatArray
    strip_chlorine_most: FloatArray
    nitrogen_oxides_least: FloatArray
    nitrogen_oxides_most: FloatArray
    gold_chlorine_most: FloatArray
    nitrous_oxide_most: FloatArray
    sulfur_dioxide_most: FloatArray


def gases(f: FigureDraws, r: Reagents, m: Metals) -> Gases:
    """What can come off at each stage. Nitrogen oxides count as NO2, which NO turns into in air."""
    known = reactions()
    acid = f["hydrochloric_strength"] * 1e-3
    peroxide_mol = r.peroxide * f["peroxide_strength"] * 1e-3
    nitric_mol = r.nitric * f["nitric_strength"] * 1e-3
    dioxide = known["sulfur_dioxide_from_metabisulfite"].moles("SO2", "Na2S2O5")
    # gold uses up two parts of sulfur dioxide for each metabisulfite; the rest can escape
    spare = r.metabisulfite / molar_mass("Na2S2O5") - m.gold_mol * known["gold_by_metabisulfite"].moles(
        "Na2S2O5", "Au"
    )
    return Gases(
        strip_vapour=r.strip_acid * acid * f["hydrochloric_as_vapour"],
        strip_chlorine_most=peroxide_mol * known["chlorine_from_peroxide"].moles("Cl2", "H2O2"),
        nitrogen_oxides_least=m.gold_mol * known["gold_to_no"].moles("NO", "Au"),
        nitrogen_oxides_most=nitric_mol,
        gold_chlorine_most=np.minimum(
            nitric_mol * known["chlorine_from_mixed_acid"].moles("Cl2", "HNO3"),
            r.gold_acid * acid * known["chlorine_from_mixed_acid"].moles("Cl2", "HCl"),
        ),
        nitrous_oxide_most=leftover_nitric_mol(f, r.nitric, m)
        * known["nitrate_by_sulfamic_acid"].moles("N2O", "HNO3"),
        sulfur_dioxide_most=np.maximum(spare, 0.0) * dioxide,
    )


def air_m3(gas_mol: FloatArray, ppm: float) -> FloatArray:
    """Air that thins so much gas to a limit, at 25 degrees C."""
    return gas_mol * fixed()["gas_molar_volume"].value * 1e-3 / (ppm * 1e-6)


@dataclass(frozen=True)
class Wastes:
    """Liquids in l, boards in g; of the later rinses together the copper in mg/l and the acid in mol/l."""

    liquor_l: FloatArray
    rinse_l: FloatArray
    boards_g: FloatArray
    rinse_copper_mg_l: FloatArray
    rinse_acid_mol_l: FloatArray


def wastes(f: FigureDraws, mass_g: FloatArray, r: Reagents, m: Metals, rinses: int) -> Wastes:
    """Liquor with the first rinse and the spent gold solution apart from the later rinses.

    Each rinse thins what clings to the pieces: clinging ÷ (clinging + water) of it is left in the next one.
    """
    rinse = mass_g * f["rinse_per_board"]
    clinging = r.liquor * f["drag_out"]
    left = clinging / (clinging + rinse)
    gold_solution = (r.nitric + r.gold_acid) * (1 + f["gold_dilution"])
    # later rinses 2..n at left², left³, …, pooled
    later = np.mean([left**k for k in range(2, rinses + 1)], axis=0) if rinses > 1 else np.zeros_like(left)
    acid_left_mol = np.maximum(r.strip_acid - r.strip_acid_floor, 0.0) * f["hydrochloric_strength"] * 1e-3
    return Wastes(
        liquor_l=(r.liquor + (rinse if rinses else 0.0) + gold_solution) * 1e-3,
        rinse_l=rinse * max(rinses - 1, 0) * 1e-3,
        boards_g=mass_g - m.copper - m.nickel - m.gold,
        rinse_copper_mg_l=m.copper * 1e3 / (r.liquor * 1e-3) * later,
        rinse_acid_mol_l=acid_left_mol / (r.liquor * 1e-3) * later,
    )
