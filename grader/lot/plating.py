"""The plating of a part: by its kind, updated by evidence, independent of other parts."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.evidence import Evidence, Reading, Statement, Strip, Where, resampled, updated
from calibration.finishes import HARD_GOLD
from calibration.inputs import Input
from calibration.kinds import UNKNOWN, BoardKind, PlatingAssumptions, board_kind
from calibration.thickness import FLASH, THICKNESS, contact_plating
from grader.lot.assumed import lot_inputs
from grader.lot.model import Part, Sight
from grader.lot.told import Told
from grader.measured import Measured
from grader.model import ProductModel, Term

_DRAWS = 4000
_ALL_HARD = Distribution("constant", (0.0,))


def with_plating(part: Part) -> Part:
    """Set the plating of a part's contacts by its kind and the evidence.

    A thickness learned from yields stays that of its own kind of boards; evidence updates it.

    Raises:
        UsageError: ``evidence-impossible``.
    """
    if part.kind is None and not part.evidence and part.designs == "one":
        return part
    swaps: dict[str, tuple[Input, ...]] = {}
    for m in part.photos:
        for i in m.gold.inputs.values():
            if i.kind == THICKNESS and i.of[:1] == (HARD_GOLD,) and i.name not in swaps:
                swaps[i.name] = _held(part, i, m.gold.inputs)
    return _with_gold(part, lambda gold: _swapped(gold, swaps))


def own_thickness(gold_mg: ProductModel, part: str) -> ProductModel:
    """Make the thickness of a part independent of other parts in its gold: each was plated separately.

    A learned thickness is unchanged: it names its part, and one process recovers all parts.
    """
    own = {
        name: replace(i, of=(*i.of, part), title=f"{i.title}: {part}")
        if i.kind in (THICKNESS, FLASH) and not i.is_recovered
        else i
        for name, i in gold_mg.inputs.items()
    }
    terms = tuple(Term(t.coefficient, tuple(own[f].name for f in t.factors)) for t in gold_mg.terms)
    return ProductModel(terms, {i.name: i for i in own.values()})


def with_own_thickness(part: Part) -> Part:
    """Make the thickness of a part independent of other parts."""
    return _with_gold(part, lambda gold: own_thickness(gold, part.name))


def _with_gold(part: Part, changed: Callable[[ProductModel], ProductModel]) -> Part:
    def of(m: Measured) -> Measured:
        return m.with_gold(changed(m.gold))

    def seen(s: Sight) -> Sight:
        return replace(s, front=of(s.front), back=of(s.back) if s.back else None)

    return replace(part, sights=tuple(map(seen, part.sights)))


def _swapped(gold: ProductModel, swaps: Mapping[str, tuple[Input, ...]]) -> ProductModel:
    """Replace some thickness inputs of a gold model, together with their flash shares."""
    new = {name: held[0].name for name, held in swaps.items()}
    gone = {i.drawn_as for name, i in gold.inputs.items() if name in swaps}
    kept = {
        name: i
        for name, i in gold.inputs.items()
        if name not in swaps and not (i.kind == FLASH and i.drawn_as in gone)
    }
    added = {i.name: i for name, held in swaps.items() if name in gold.inputs for i in held}
    terms = tuple(Term(t.coefficient, tuple(new.get(f, f) for f in t.factors)) for t in gold.terms)
    return ProductModel(terms, {**kept, **added})


def _held(part: Part, measured: Input, inputs: Mapping[str, Input]) -> tuple[Input, ...]:
    """Thickness and flash share of the part's contacts, replacing the thickness used for measuring."""
    evidence = tuple(_evidence(part, told, measured) for told in part.evidence)
    if measured.is_recovered:
        return (_moved(measured, evidence, part.evidence),)
    if part.kind is None and part.designs == "one":
        flash = next((i for i in inputs.values() if i.kind == FLASH and i.drawn_as == measured.drawn_as), None)
        held = (measured,) if flash is None else (measured, flash)
    else:
        held = contact_plating(part.kind or UNKNOWN, part.designs)
    if not evidence:
        return held
    kind: BoardKind | None = board_kind(part.kind or UNKNOWN) if part.designs == "many" else None
    prior = PlatingAssumptions(held[0].distribution, held[1].distribution if len(held) > 1 else _ALL_HARD)
    found = updated(prior, evidence, kind)
    known = zip(held, (found.thickness, found.flash), strict=False)
    return tuple(_told(i, distribution, part.evidence) for i, distribution in known)


def _moved(learned: Input, evidence: tuple[Evidence, ...], told: tuple[Told, ...]) -> Input:
    """A learned thickness updated by evidence; its values keep their order, so it stays aligned with its process."""
    if not evidence:
        return learned
    values = np.asarray(learned.distribution.parameters)
    picked = resampled(Where(np.log(values), np.zeros(len(values)), recovered=True), evidence, len(values))
    return _told(learned, Distribution("sample", tuple(values[picked].tolist())), told)


def _told(i: Input, distribution: Distribution, told: tuple[Told, ...]) -> Input:
    """A renamed input for the updated quantity."""
    mark = hashlib.sha256("; ".join(t.text for t in told).encode()).hexdigest()[:8]
    source = f"{i.source}; then {'; '.join(t.text for t in told)}"
    return replace(i, distribution=distribution, source=source, of=(*i.of, f"told {mark}"))


def _evidence(part: Part, told: Told, thickness: Input) -> Evidence:
    if told.how == "stripped" and told.mass_mg is not None:
        per_um, sd = _mg_per_um(part, thickness, float(np.mean(lot_inputs()["other-face"].draws())))
        return Strip(told.mass_mg, told.boards, per_um, sd)
    um = told.thickness_um or 0.0
    return Statement(um) if told.how == "stated" else Reading(um, told.sd_um)


def _mg_per_um(part: Part, thickness: Input, other_face_mean: float) -> tuple[float, float]:
    """Gold on a board if its contacts were plated 1 um thick, mg, and its relative standard deviation."""

    def drawn(photos: Sequence[tuple[Measured, int]]) -> FloatArray:
        boards = sum(n for _, n in photos)
        return np.maximum(sum((_at_1_um(m.gold, thickness.name) for m, _ in photos), np.zeros(_DRAWS)), 0.0) / boards

    fronts = drawn([(s.front, s.boards) for s in part.sights])
    backs = [(s.back, s.boards) for s in part.sights if s.back is not None]
    if backs:
        per_board = fronts + drawn(backs)
    else:
        per_board = fronts * (1.0 + (other_face_mean if part.other_face == "alike" else 0.0))
    mean = float(per_board.mean())
    if mean <= 0:
        raise UsageError(
            "strip-without-contacts",
            f"{part.name}: no photo shows contacts, so that a test strip tells nothing of their plating.",
            "Leave the test strip out, or correct what the regions are.",
        )
    return mean, float(per_board.std()) / mean


def _at_1_um(gold: ProductModel, thickness: str) -> FloatArray:
    """Draws of the gold whose thickness this is, if it were 1 um, mg."""
    terms = tuple(
        Term(t.coefficient, tuple(f for f in t.factors if f != thickness))
        for t in gold.terms
        if thickness in t.factors
    )
    return ProductModel(terms, gold.inputs).draws(_DRAWS)
