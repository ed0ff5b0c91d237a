"""Results of the bench for the lot's report: cuts, batch, photos."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from app.bench.show import Sorted, asked_volume, batch_of, plans_of, to_cut
from app.lots.lot_folder import LotFolder
from app.lots.report import BenchPlans, reported_photos
from calibration.errors import RefusedError, UsageError
from grader.batch import BatchPlan
from grader.batch.words import batch_document
from grader.cut import PlannedBoard
from grader.cut.picture import draw_cuts
from grader.cut.words import cut_document
from grader.lot import Lot, PartText, SightText, estimate_lot, lot_of
from grader.measured import Measured, usable
from grader.report.lot_report import LotReport, ReportedCuts, reported_cut_picture

_DONE = "desk-sorted"


def keep_sorted(done: Sorted | None) -> None:
    """Keep this window's results."""
    st.session_state[_DONE] = done


def kept_sorted(measured: Sequence[Measured]) -> Sorted | None:
    """The last results, if they belong to these measurements; otherwise None."""
    done: Sorted | None = st.session_state.get(_DONE)
    if done is None or not all(p.measured in measured for p in done.seen):
        return None
    return done


def plans_for_report(done: Sorted, batch: BatchPlan | None, *, with_pictures: bool) -> BenchPlans:
    """Cuts of the boards to process, or of all if there are none, and the batch, if one could be planned."""
    cuts = []
    names = {photo.sha256: photo.name for photo in done.seen}
    backs = {one.sha256: names[one.back] for one in done.shown if one.back is not None}
    for photo in done.photos:
        boards = plans_of(done, photo, to_cut(done) or None)
        if any(isinstance(b, PlannedBoard) for b in boards):
            drawn = draw_cuts(*done.searched[photo.sha256].picture(), boards) if with_pictures else None
            picture = None if drawn is None else reported_cut_picture(drawn)
            cuts.append(ReportedCuts(cut_document(photo.name, boards, backs.get(photo.sha256)), picture))
    return BenchPlans(tuple(cuts), None if batch is None else batch_document(batch))


def planned_before(measured: Sequence[Measured]) -> Callable[[bool], BenchPlans] | None:
    """The last plans for these measurements, rendered on request, with or without pictures."""
    done = kept_sorted(measured)
    if done is None:
        return None
    volume = asked_volume()

    def plans(with_pictures: bool) -> BenchPlans:
        try:
            batch = batch_of(done, volume)
        except (RefusedError, UsageError):  # the bench shows the reason
            batch = None
        return plans_for_report(done, batch, with_pictures=with_pictures)

    return plans


def bench_report(title: str, done: Sorted, batch: BatchPlan | None, lot: LotFolder | None) -> LotReport:
    """The report of the boards on the bench, without an offer, because they are already bought.

    Raises:
        UsageError: as ``lot_of``.
    """
    estimate = estimate_lot(_lot(done))
    plans = plans_for_report(done, batch, with_pictures=lot is not None)
    photos = reported_photos([p.measured for p in done.seen], lot)
    return LotReport.of_estimate(title, photos, estimate, cuts=plans.cuts, batch=plans.batch)


def _lot(done: Sorted) -> Lot:
    """The lot as described by the photos."""
    names = {p.sha256: p.name for p in done.seen}
    parts: dict[str, list[SightText]] = {}
    for one in done.shown:
        weighed = "" if one.weighed_g is None else f"{one.weighed_g!r} g"
        sight = SightText(one.sha256, one.back or "", None, weighed)
        parts.setdefault(one.part or names[one.sha256], []).append(sight)
    measured = usable((p.name, p.measured) for p in done.seen)
    return lot_of([PartText(name, tuple(sights)) for name, sights in parts.items()], measured)
