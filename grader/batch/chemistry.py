"""Molar masses and balanced reactions: how much of one substance goes with how much of another."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from calibration.errors import DataFileError
from calibration.packaged import packaged_text, packaged_toml
from calibration.sourced import SourcedValue, parse

_ELEMENT = re.compile(r"([A-Z][a-z]?)(\d*)")
_FIX = "Correct the data file."


@cache
def atomic_weights() -> Mapping[str, SourcedValue]:
    """Standard atomic weights in g/mol by element."""
    return parse(packaged_text("grader.batch", "data/molar_masses.toml"), "molar_masses")


def atoms(formula: str) -> Counter[str]:
    """How many atoms of each element a formula without brackets has ("HAuCl4").

    Raises:
        DataFileError: it is no such formula.
    """
    found: Counter[str] = Counter()
    for element, count in _ELEMENT.findall(formula):
        found[element] += int(count or 1)
    if not formula or _ELEMENT.sub("", formula):
        raise DataFileError("formula-invalid", f"'{formula}' is not a chemical formula.", _FIX)
    return found


@cache
def molar_mass(formula: str) -> float:
    """Molar mass in g/mol.

    Raises:
        DataFileError: no formula, or an element that the data file does not list.
    """
    weights = atomic_weights()
    missing = set(atoms(formula)) - set(weights)
    if missing:
        raise DataFileError("element-unknown", f"The molar mass of {', '.join(sorted(missing))} is not known.", _FIX)
    return sum(weights[element].value * count for element, count in atoms(formula).items())


@dataclass(frozen=True)
class Reaction:
    """A balanced reaction.

    Attributes:
        equation: as written.
        left: moles of what is used up.
        right: moles of what comes of it.
        source: where it stands.
        how_known: one of ``calibration.sourced.HOW_KNOWN``.

    Raises:
        DataFileError: it is not balanced.
    """

    equation: str
    left: Mapping[str, int]
    right: Mapping[str, int]
    source: str
    how_known: str

    def __post_init__(self) -> None:
        if _total(self.left) != _total(self.right):
            raise DataFileError("reaction-unbalanced", f"'{self.equation}' is not balanced.", _FIX)

    def moles(self, of: str, per: str) -> float:
        """Moles of one substance for each mole of another."""
        both = {**self.left, **self.right}
        return both[of] / both[per]

    def grams(self, of: str, per: str) -> float:
        """Grams of one substance for each gram of another."""
        return self.moles(of, per) * molar_mass(of) / molar_mass(per)


def read_equation(equation: str, source: str = "", how_known: str = "") -> Reaction:
    """A reaction from text: "2 Cu + O2 + 4 HCl -> 2 CuCl2 + 2 H2O".

    Raises:
        DataFileError: it cannot be read, or is not balanced.
    """
    sides = equation.split("->")
    if len(sides) != 2:
        raise DataFileError("reaction-unreadable", f"'{equation}' is not a reaction.", _FIX)
    left, right = (_side(text, equation) for text in sides)
    return Reaction(equation, left, right, source, how_known)


@cache
def reactions() -> Mapping[str, Reaction]:
    """All reactions by name."""
    data = packaged_toml("grader.batch", "data/reactions.toml")
    return {name: read_equation(r["equation"], r["source"], r["how_known"]) for name, r in data.items()}


def _side(text: str, equation: str) -> dict[str, int]:
    found: dict[str, int] = {}
    for term in text.split("+"):
        match = re.fullmatch(r"(?:([1-9]\d*) )?(\S+)", term.strip())
        if match is None or match[2] in found:
            raise DataFileError("reaction-unreadable", f"'{equation}' is not a reaction.", _FIX)
        found[match[2]] = int(match[1] or 1)
    return found


def _total(side: Mapping[str, int]) -> Counter[str]:
    total: Counter[str] = Counter()
    for formula, moles in side.items():
        for element, count in atoms(formula).items():
            total[element] += moles * count
    return total
