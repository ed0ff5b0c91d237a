"""Gold and mass of a lot from the photographed boards of its parts.

By count: ``gold = gold per board seen × count``. By mass: ``gold = gold seen ÷ mass seen × stated mass`` (the
ratio estimator: heavier boards of a kind usually carry more gold, and the count need not be known). Either way the
boards seen count as seen and the others are multiplied by the factor of ``grader.lot.sampling``.

Faces are estimated separately and added, so that one photographed back informs all backs of its part.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.kinds import board_kind
from calibration.notices import Notice
from grader.board_count import BoardCount
from grader.lot.assumed import lot_inputs
from grader.lot.kinds import choices, proposed_kind, unnamed
from grader.lot.model import Lot, LotEstimate, Part, PartEstimate, Sight
from grader.lot.notices import notice
from grader.lot.observed import Observed, observed_in
from grader.lot.plating import with_own_thickness, with_plating
from grader.lot.sampling import others_than
from grader.lot.seen import check_sure, seen_inputs, total_seen
from grader.measured import Measured
from grader.model import EMPTY, ProductModel, Term

_CM2_PER_MM2 = 1e-2


def estimate_lot(lot: Lot) -> LotEstimate:
    """Estimate a lot.

    Raises:
        UsageError: ``outline-missing`` for a stated mass with boards neither weighed nor outlined;
            ``lot-lighter-than-seen``; ``boards-unsure`` for a count with photos whose outlines do not
            show how many boards there are.
        DataFileError: two photos define one input differently.
    """
    several = len(lot.parts) > 1
    parts = tuple(_estimate(part, own_thickness=several) for part in lot.parts)
    masses = [p.mass_g for p in parts]
    photos = (n for part in lot.parts for m in part.photos for n in m.warnings)
    return LotEstimate(
        parts=parts,
        gold_mg=sum((p.gold_mg for p in parts), EMPTY),
        mass_g=None if None in masses else sum((m for m in masses if m is not None), EMPTY),
        notices=tuple(dict.fromkeys((*(n for p in parts for n in p.notices), *photos))),
    )


def _estimate(part: Part, *, own_thickness: bool) -> PartEstimate:
    check_sure(part)
    part = with_plating(part)
    if own_thickness:
        part = with_own_thickness(part)
    per_mass = part.mass_g is not None
    seen_mass = _seen_mass(part)
    if per_mass and seen_mass is None:
        raise UsageError(
            "outline-missing",
            f"{part.name}: a mass is stated, but the weight of the boards in the photos is not known.",
            "Weigh them and give their mass, or give the number of boards in the lot.",
        )
    boards, seen = _boards(part, seen_mass), total_seen(part)
    # where more may be there than were most likely seen, the least of them were not
    surely_seen = min(seen.value, max(seen.low, math.ceil(boards) - 1))
    others = others_than(part.name, _observed(part, by_mass=per_mass), boards, surely_seen, part.earlier)
    unseen = () if others is None else (others.factor, *_picking(part))
    gold_mg = _of_all(part, _per_size(part), unseen)
    return PartEstimate(
        part=part,
        gold_mg=gold_mg,
        choices=choices(part, gold_mg),
        mass_g=_mass(part, seen_mass),
        boards=boards,
        spread=None if others is None else others.relative_sd,
        notices=(*_notices(part, boards, seen, has_unseen=others is not None), *_kind_notices(part, gold_mg)),
        seen=seen,
    )


def _of_all(part: Part, per_size: ProductModel, unseen: tuple[Input, ...]) -> ProductModel:
    """Gold of seen and unseen boards; ``per_size`` is the gold per board, or per g of boards."""
    seen = _per_board(part, lambda m: m.gold).times((), part.boards_seen)
    if not unseen:
        return seen
    if part.mass_g is not None:
        whole = per_size.times((_stated_mass(part), *unseen))
    elif part.count is not None and (seen_inputs(part)[0] or not part.count.is_constant):
        whole = per_size.times((_count(part, part.count), *unseen))
    else:
        # one term for the unseen boards, none to take away: no draw can lie below what was seen
        return seen + per_size.times(unseen, _nominal_count(part) - part.boards_seen)
    return whole + seen + seen.times(unseen, -1.0)


def _per_size(part: Part) -> ProductModel:
    if part.mass_g is None:
        return _per_board(part, lambda m: m.gold, *seen_inputs(part))
    if part.sights[0].weighed_g is not None:
        weighed = sum(s.weighed_g or 0.0 for s in part.sights)
        return _per_board(part, lambda m: m.gold).times((_input("weighing", part),), part.boards_seen / weighed)
    # Gold and outlines of one photo carry the same factors of scale: in gold per area of board they cancel.
    per_cm2 = _by_face(part, _unscaled_gold, lambda _, m: _outlined_cm2(m))
    return per_cm2.times((_specific_area(part),))


def _per_board(
    part: Part,
    of: Callable[[Measured], ProductModel],
    fronts: Iterable[Input] = (),
    backs: Iterable[Input] = (),
) -> ProductModel:
    return _by_face(part, of, lambda s, _: s.boards, fronts, backs)


def _by_face(
    part: Part,
    of: Callable[[Measured], ProductModel],
    size: Callable[[Sight, Measured], float],
    by_fronts: Iterable[Input] = (),
    by_backs: Iterable[Input] = (),
) -> ProductModel:
    """Quantity per size, summed over the faces; an unseen face follows ``part.other_face``.

    Args:
        part: the part.
        of: a photo's quantity.
        size: the divisor, as far as known.
        by_fronts: likely ÷ true size of all fronts together.
        by_backs: the same of the backs.
    """
    front = _ratio([(of(s.front), size(s, s.front)) for s in part.sights]).times(by_fronts)
    backs = [(of(s.back), size(s, s.back)) for s in part.sights if s.back is not None]
    if backs:
        return front + _ratio(backs).times(by_backs)
    return front + front.times((_input("other-face", part),)) if part.other_face == "alike" else front


def _ratio(seen: Sequence[tuple[ProductModel, float]]) -> ProductModel:
    return sum((model for model, _ in seen), EMPTY).times((), 1.0 / sum(size for _, size in seen))


def _unscaled_gold(m: Measured) -> ProductModel:
    shared = set(m.scale_inputs)
    terms = tuple(Term(t.coefficient, tuple(f for f in t.factors if f not in shared)) for t in m.gold.terms)
    return ProductModel(terms, {k: i for k, i in m.gold.inputs.items() if k not in shared})


def _outlined_cm2(m: Measured) -> float:
    return sum(board.size_mm2 for board in m.boards) * _CM2_PER_MM2


# --- masses


def _seen_mass(part: Part) -> ProductModel | None:
    """Mass in g of the boards in the photos."""
    if part.sights[0].weighed_g is not None:
        return ProductModel.of(sum(s.weighed_g or 0.0 for s in part.sights), (_input("weighing", part),))
    photos = [s.front for s in part.sights]
    if part.mass_g is not None:
        photos += [s.back for s in part.sights if s.back is not None]
    if not all(m.boards for m in photos):
        return None
    areas = sum((_outlines(s.front) for s in part.sights), EMPTY)
    return areas.times((_input("areal-density", part),))


def _outlines(m: Measured) -> ProductModel:
    known = m.gold.inputs
    return ProductModel.of(_outlined_cm2(m), (known[name] for name in m.scale_inputs if name in known))


def _mass(part: Part, seen_mass: ProductModel | None) -> ProductModel | None:
    if part.mass_g is not None:
        return ProductModel.of(1.0, (_stated_mass(part),))
    if seen_mass is None:
        return None
    if part.count is None:
        return seen_mass
    return seen_mass.times((_count(part, part.count), *seen_inputs(part)[0]), 1.0 / part.boards_seen)


def _boards(part: Part, seen_mass: ProductModel | None) -> float:
    """The likely number of boards."""
    if part.mass_g is None or seen_mass is None:
        return _nominal_count(part)
    stated = _stated_mass(part).draws()
    seen = seen_mass.draws()
    if np.quantile(stated, 0.99) < np.quantile(seen, 0.01):
        raise UsageError(
            "lot-lighter-than-seen",
            f"{part.name}: the {part.boards_seen} boards in the photos alone weigh more than the stated mass.",
            "Check the unit of the mass, and how many boards the photos show.",
        )
    return max(float(part.boards_seen), part.boards_seen * float(np.median(stated) / np.median(seen)))


def _nominal_count(part: Part) -> float:
    return float(part.boards_seen) if part.count is None else float(np.median(_count(part, part.count).draws()))


# --- inputs


def _input(kind: str, part: Part) -> Input:
    known = lot_inputs()[kind]
    return replace(known, of=(part.name,), title=f"{known.title}: {part.name}")


def _picking(part: Part) -> tuple[Input, ...]:
    """How much better the boards shown are; None if they were picked blindly, or by the buyer."""
    known = lot_inputs().get(f"picking:{part.picked}")
    if known is not None and part.picking is not None:
        return (part.picking,)
    return () if known is None else (replace(known, of=(part.name,), title=f"{known.title}: {part.name}"),)


def _specific_area(part: Part) -> Input:
    """Area by mass: the inverse of a lognormal is one too."""
    density = _input("areal-density", part)
    median, sigma_log = density.distribution.parameters
    known = Distribution("lognormal", (1.0 / median, sigma_log))
    return replace(density, kind="area-by-mass", distribution=known, unit="cm2/g")


def _stated_mass(part: Part) -> Input:
    assert part.mass_g is not None  # noqa: S101 - callers have one
    known, source, title = part.mass_g, "given", f"stated mass of {part.name}"
    if known.is_constant:
        claim = lot_inputs()["stated-mass"]
        stated = known.parameters[0]
        known = Distribution(claim.distribution.kind, tuple(stated * p for p in claim.distribution.parameters))
        source = claim.source
    return Input("stated-mass", title, known, source, "g", of=(part.name,))


def _count(part: Part, count: Distribution) -> Input:
    return Input("count", f"number of {part.name}", count, "given", of=(part.name,))


# --- what the photos say of spread, and what to mind


def _observed(part: Part, *, by_mass: bool) -> list[Observed]:
    """Fronts, one observation per board if the outlines match the count."""
    found = []
    for s in part.sights:
        mass = s.weighed_g if s.weighed_g is not None else sum(o.size_mm2 for o in s.front.boards)
        found += observed_in(s.front, s.boards, mass if by_mass else None)
    return found


def _kind_notices(part: Part, gold_mg: ProductModel) -> tuple[Notice, ...]:
    """The kind suggested by the connectors if nobody named it."""
    proposed = proposed_kind(part.photos)
    if part.kind is not None or proposed is None or not unnamed(part, gold_mg):
        return ()
    return (notice("kind-proposed", part=part.name, kind=board_kind(proposed).words),)


def _notices(part: Part, boards: float, seen: BoardCount, *, has_unseen: bool) -> tuple[Notice, ...]:
    found = []
    if has_unseen:
        found.append(notice("boards-not-photographed", part=part.name, seen=seen.value, total=f"{boards:.0f}"))
    if part.count is not None:
        found += [
            notice("boards-by-outlines", photo=s.front.photo, boards=s.counted.words())
            for s in part.sights
            if s.counted is not None and s.counted.low < s.counted.high
        ]
    if part.other_face == "alike" and not any(s.back for s in part.sights):
        found.append(notice("other-face-assumed", part=part.name))
    if part.mass_g is not None and part.sights[0].weighed_g is None:
        found.append(notice("board-mass-assumed", part=part.name))
    found += [
        notice("touching-boards", photo=s.front.photo, boards=s.boards, outlines=len(s.front.boards))
        for s in part.sights
        if s.counted is None and s.front.boards and len(s.front.boards) != s.boards
    ]
    return tuple(found)
