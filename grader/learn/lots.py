"""Gold and area that the log's estimates say went into a yield."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from calibration.errors import DataFileError
from grader.log import Contents, Estimate, LoggedLot, Yield
from grader.model import EMPTY, FINISHES, Finish, ProductModel

_DAY = timedelta(days=1)  # days are the user's own, moments are in UTC


@dataclass(frozen=True)
class Share:
    """A lot's share in a yield.

    Attributes:
        lot: the lot.
        copies: how many times its photographed boards went in.
    """

    lot: LoggedLot
    copies: float


def shares_of(contents: Contents, gold: Yield) -> tuple[Share, ...]:
    """The lots of a yield."""
    lots = {lot.id: lot for lot in contents.lots}
    return tuple(Share(lots[y.lot_id], y.copies) for y in contents.yield_lots if y.yield_id == gold.id)


def estimates_of(contents: Contents, lot: LoggedLot, before: Yield | None = None) -> tuple[Estimate, ...]:
    """The last usable estimate of each photo of a lot.

    Args:
        contents: the log.
        lot: the lot.
        before: only estimates that were in the log when this yield was first entered, and made no later than the day
            of its weighing.
    """
    found = (e for e in contents.estimates if e.lot_id == lot.id and _is_usable(e))
    if before is not None:
        entered = contents.first_entry(before)
        found = (e for e in found if e.made_at <= entered.logged_at and e.made_at.date() <= before.weighed_on + _DAY)
    return tuple({e.photo_sha256: e for e in found}.values())


def gold_model(estimates: Iterable[Estimate], copies: float) -> ProductModel:
    """Gold in mg as the estimates had it.

    Raises:
        DataFileError: an estimate cannot be read, or two disagree about an input.
    """
    return sum((e.measured.gold for e in estimates), EMPTY).times((), copies)


def area_models(estimates: Iterable[Estimate], copies: float) -> dict[Finish, ProductModel]:
    """Plated area in mm² by finish as the estimates had it.

    Raises:
        DataFileError: as ``gold_model``.
    """
    areas: dict[Finish, ProductModel] = {}
    for estimate in estimates:
        found = estimate.measured.areas
        for finish in FINISHES:
            if finish in found:
                areas[finish] = areas.get(finish, EMPTY) + found[finish]
    return {finish: area.times((), copies) for finish, area in areas.items()}


def _is_usable(estimate: Estimate) -> bool:
    """Whether it has models; one that cannot be read counts, so that it is told where it is used."""
    try:
        return estimate.measured.model is not None
    except DataFileError:
        return True
