"""The unknowns of the belief, and the assumptions about them before anything was weighed.

All unknowns except those of the parts are standard normal numbers, and the quantities are curves of them. The unknown
of a part is the position of the logarithm of its thickness on a scale of its family. Given the unknowns that its
family shares, it is a draw from the family's mixture (``calibration.belief.parts``).
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief.batches import Batch, Priors, WeighedPlating
from calibration.belief.maps import normal_cdf, normal_quantile
from calibration.belief.parts import Shared
from calibration.kinds import UNKNOWN, KindKey
from calibration.thickness import Finish

PartKey = tuple[Finish, str]
FamilyKey = tuple[Finish, KindKey]

# So many of the newest batches of boards without a name have a part each; older ones share one, so that the number of
# unknowns stays bounded.
_UNNAMED = 40


@dataclass(frozen=True)
class UnknownsLayout:
    """Position of each unknown in a vector of numbers.

    Attributes:
        families: positions of the unknowns that the parts of each family share.
        parts: position of each part.
        family: family of each part.
        sellers: position of each seller.
        picked: position, for each seller, of gold on the boards left out when choosing the boards to show.
        processes: position of each process's recovery.
        part_spread: position of the parts' spread.
        seller_spread: position of the sellers' spread.
        batch_spread: position of the batches' spread.
        size: number of unknowns.
    """

    families: dict[FamilyKey, tuple[int, ...]]
    parts: dict[PartKey, int]
    family: dict[PartKey, FamilyKey]
    sellers: dict[str, int]
    picked: dict[str, int]
    processes: dict[int, int]
    part_spread: int
    seller_spread: int
    batch_spread: int
    size: int

    @staticmethod
    def of(batches: Sequence[Batch], priors: Priors) -> UnknownsLayout:
        """Layout of the unknowns that the batches touch, in the order in which they turn up."""
        rows = [
            (key, p)
            for b, keys in zip(batches, part_keys(batches), strict=True)
            for key, p in zip(keys, b.platings, strict=True)
        ]
        kinds: dict[PartKey, KindKey] = {}
        for key, p in rows:
            if kinds.get(key, UNKNOWN) == UNKNOWN:
                kinds[key] = p.kind
        family = {key: priors.family_of(key[0], kind) for key, kind in kinds.items()}
        sellers = dict.fromkeys(p.seller for _, p in rows)
        picked = dict.fromkeys(p.seller for _, p in rows if p.picked)
        processes = dict.fromkeys(b.process for b in batches)
        used = 0

        def place(count: int = 1) -> int:
            nonlocal used
            used += count
            return used - count

        families = {}
        for key in dict.fromkeys(family.values()):
            numbers = priors.families[key].numbers
            first = place(numbers)
            families[key] = tuple(range(first, first + numbers))
        return UnknownsLayout(
            families,
            {key: place() for key in family},
            family,
            {s: place() for s in sellers},
            {s: place() for s in picked},
            {k: place() for k in processes},
            place(),
            place(),
            place(),
            used,
        )

    def part(self, plating: WeighedPlating) -> PartKey | None:
        """The part that a plating belongs to; None if it was never weighed, or has no name."""
        key = (plating.finish, plating.part)
        return key if plating.part and key in self.parts else None


def part_keys(batches: Sequence[Batch]) -> list[list[PartKey]]:
    """Part of each plating of each batch; boards without a name are a separate part in each batch."""
    found = []
    for age, b in enumerate(reversed(batches)):
        unnamed = f"\0{min(age, _UNNAMED)}"
        found.append([(p.finish, p.part or unnamed) for p in b.platings])
    return found[::-1]


@dataclass(frozen=True)
class Unknowns:
    """The prior of the unknowns: an even start for the sampler, and its log density with gradient."""

    layout: UnknownsLayout
    priors: Priors

    def shared(self, z: FloatArray) -> dict[FamilyKey, Shared]:
        """The mixtures at draws z (n, size)."""
        spread = z[:, self.layout.part_spread]
        return {key: self.priors.families[key].at(z[:, list(at)], spread) for key, at in self.layout.families.items()}

    @cached_property
    def places(self) -> tuple[FloatArray, FloatArray]:
        """Middle and scale of each part's log thickness, both (parts,)."""
        both = [self.priors.families[self.layout.family[part]].middle for part in self.layout.parts]
        return np.array([m for m, _ in both]), np.array([s for _, s in both])

    @cached_property
    def parts_at(self) -> tuple[int, int]:
        """First position of the parts, and the one after their last."""
        at = list(self.layout.parts.values())
        return (at[0], at[-1] + 1) if at else (0, 0)

    @cached_property
    def _own(self) -> dict[FamilyKey, list[int]]:
        """Places of each family's parts among all parts."""
        found: dict[FamilyKey, list[int]] = {key: [] for key in self.layout.families}
        for n, part in enumerate(self.layout.parts):
            found[self.layout.family[part]].append(n)
        return found

    def log_thickness(self, z: FloatArray) -> FloatArray:
        """Log thickness of every part, (n, parts)."""
        middle, scale = self.places
        first, end = self.parts_at
        return np.asarray(middle + scale * z[:, first:end])

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Draws (count, size): in each column one from each of ``count`` equally likely intervals.

        Latin hypercube sampling: McKay, Beckman, Conover, Technometrics 21 (1979) 239.
        """
        places = np.column_stack([rng.permutation(count) for _ in range(self.layout.size)])
        u = (places + rng.random((count, self.layout.size))) / count
        z = normal_quantile(u)
        shared, (first, _), (middle, scale) = self.shared(z), self.parts_at, self.places
        for family, own in self._own.items():
            for n in own:
                z[:, first + n] = (shared[family].draw(u[:, first + n]) - middle[n]) / scale[n]
        return z

    def __call__(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Log density (n,), up to a constant, and its gradient (n, size), for z (n, size)."""
        slope = -z
        first, end = self.parts_at
        slope[:, first:end] = 0.0
        value = -0.5 * (slope**2).sum(axis=1)
        x, scale = self.log_thickness(z), self.places[1]
        for key, shared in self.shared(z).items():
            own = self._own[key]
            density, by_x, by_shared, by_spread = shared.log_density(x[:, own])
            value += density
            slope[:, [first + n for n in own]] = scale[own] * by_x
            slope[:, list(self.layout.families[key])] += by_shared
            slope[:, self.layout.part_spread] += by_spread
        return value, slope


def fresh_numbers(seed: int, n: int, size: int, *names: object) -> FloatArray:
    """Standard normal numbers (n, size) for what was never weighed; the same names give the same numbers."""
    digest = hashlib.sha256(repr(names).encode()).digest()
    return np.random.default_rng([seed, 1, int.from_bytes(digest[:8], "big")]).standard_normal((n, size))


def log_thickness_of(
    z: FloatArray, layout: UnknownsLayout, priors: Priors, plating: WeighedPlating, seed: int
) -> FloatArray:
    """Log thickness of a plating's part, (n,), for draws z (n, size) of the unknowns.

    For a part that was never weighed, it is a draw from the family as learned from the weighed parts.
    """
    part = layout.part(plating)
    if part is not None:
        middle, scale = priors.families[layout.family[part]].middle
        return np.asarray(middle + scale * z[:, layout.parts[part]])
    key = priors.family_of(plating.finish, plating.kind)
    family, known = priors.families[key], layout.families.get(key)
    shared = fresh_numbers(seed, len(z), family.numbers, *key) if known is None else z[:, list(known)]
    place = fresh_numbers(seed, len(z), 1, "part", plating.finish, plating.part)[:, 0]
    return family.at(shared, z[:, layout.part_spread]).draw(normal_cdf(place))
