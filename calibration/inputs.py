"""Uncertain inputs: a name, a distribution and a source; and draws that are shared by name.

Two places that use an input of the same name get exactly the same draws (same seed, same number), in any order and
any process. In this way one scale target gives one scale error to all boards in its photo, and all boards of a part
get one thickness, without passing any state.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import quantiles
from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.errors import DataFileError

_BELIEF = "belief-"  # in a name, before a belief's id

DEFAULT_DRAWS = 20_000
DEFAULT_SEED = 20_101


@dataclass(frozen=True)
class Input:
    """One uncertain input of a measurement.

    Inputs with equal ``kind``, ``of`` and ``belief`` are the same quantity, wherever they come from. ``name`` writes
    the three as one text, as a key and for people to read; code uses the fields.

    Attributes:
        kind: the uncertain quantity (``thickness``, ``scale-fit``, ``cost``); contains no colon.
        title: plain words for a budget line.
        distribution: knowledge of its value.
        source: of that knowledge.
        unit: unit of the value, empty for a factor.
        of: the owner of the ``kind``: a finish, a photo, a part, a cost; outermost first.
        belief: id of the belief in which it was learned; empty if it was not learned from weighed batches.
        aligned_over: a piece of the name that does not matter to its draws. Inputs whose names differ only by this
            piece are drawn together: sample by sample, so that the dependence between their values is kept.

    Raises:
        DataFileError: ``input-invalid``: the kind is empty or holds a colon.
    """

    kind: str
    title: str
    distribution: Distribution
    source: str
    unit: str = ""
    of: tuple[str, ...] = ()
    belief: str = ""
    aligned_over: str = ""

    def __post_init__(self) -> None:
        if not self.kind or ":" in self.kind:
            raise DataFileError(
                "input-invalid", f"'{self.kind}' cannot be the kind of an input.", "Measure the photo again."
            )

    @property
    def name(self) -> str:
        """Kind, owner and belief as one text: ``scale-fit:3fa9c1``, ``thickness:hard_gold:belief-0c1d``."""
        learned = (f"{_BELIEF}{self.belief}",) if self.belief else ()
        return ":".join((self.kind, *self.of, *learned))

    @staticmethod
    def named(name: str, title: str, distribution: Distribution, source: str, unit: str = "") -> Input:
        """An input whose kind and owner are given as one text, as ``name`` writes them."""
        kind, of, belief = split_name(name)
        return Input(kind, title, distribution, source, unit, of, belief)

    @property
    def is_recovered(self) -> bool:
        """Whether it was learned from weighed gold, so that estimates made with it are of recovered gold."""
        return bool(self.belief)

    @property
    def drawn_as(self) -> str:
        """The key of the draws: inputs with equal keys are drawn together."""
        return self.name.replace(self.aligned_over, "", 1) if self.aligned_over else self.name

    def draws(self, n: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED) -> FloatArray:
        """``n`` draws, float64 (n,): the same for the same name, n and seed, anywhere.

        They leave no gap: one draw comes from each of ``n`` equally likely pieces of the distribution, in random
        order, so that every part of it is represented in proportion.
        """
        if self.distribution.kind == "constant":
            return np.full(n, self.distribution.parameters[0])
        u, order = _strata(self.drawn_as, n, seed)
        return self.distribution.at(u)[order]

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back to an equal value; ``name`` is there for people to read."""
        return {
            "name": self.name,
            "kind": self.kind,
            **({"of": list(self.of)} if self.of else {}),
            **({"belief": self.belief} if self.belief else {}),
            "title": self.title,
            "unit": self.unit,
            "distribution": self.distribution.as_json(),
            "source": self.source,
            **({"aligned_over": self.aligned_over} if self.aligned_over else {}),
        }

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> Input:
        """The inverse of ``as_json``; files of versions before 0.2.0 hold the name alone.

        Raises:
            DataFileError: the object is not one that ``as_json`` writes.
        """
        try:
            kind, of, belief = split_name(str(data["name"]))
            if "kind" in data:
                kind, belief = str(data["kind"]), str(data.get("belief", ""))
                of = tuple(str(text) for text in data.get("of", ()))
            return Input(
                kind,
                str(data["title"]),
                Distribution.from_json(data["distribution"]),
                str(data["source"]),
                str(data.get("unit", "")),
                of,
                belief,
                str(data.get("aligned_over", "")),
            )
        except (KeyError, TypeError) as error:
            raise DataFileError(
                "input-invalid",
                "An input lacks its name, title, distribution or source.",
                "Measure the photo again.",
            ) from error


def split_name(name: str) -> tuple[str, tuple[str, ...], str]:
    """The kind, owner and belief that a name holds as one text."""
    kind, *of = name.split(":")
    if of and of[-1].startswith(_BELIEF):
        return kind, tuple(of[:-1]), of[-1].removeprefix(_BELIEF)
    return kind, tuple(of), ""


def draw_all(inputs: Mapping[str, Input], n: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED) -> dict[str, FloatArray]:
    """Draws of several inputs by their keys, each float64 (n,)."""
    times = Counter(i.drawn_as for i in inputs.values())
    # inputs that are drawn together share the work too
    shared = {name: _strata(name, n, seed) for name, count in times.items() if count > 1}
    draws = {}
    for key, i in inputs.items():
        if i.drawn_as in shared:
            u, order = shared[i.drawn_as]
            draws[key] = i.distribution.at(u)[order]
        else:
            draws[key] = i.draws(n, seed)
    return draws


def _strata(drawn_as: str, n: int, seed: int) -> tuple[FloatArray, NDArray[np.intp]]:
    """Result of ``quantiles.strata`` for a name, the same everywhere."""
    digest = hashlib.sha256(drawn_as.encode()).digest()
    return quantiles.strata(np.random.default_rng([seed, int.from_bytes(digest[:8], "big")]), n)
