"""Bench: which boards are worth the acid, where to cut them, what the batch needs."""

from __future__ import annotations

from functools import partial

import streamlit as st

from app.bench.boards import search_all
from app.bench.form import BenchAnswers, ask, ask_shown
from app.bench.report import bench_report, keep_sorted, kept_sorted
from app.bench.show import Sorted, ask_volume, show_batch, show_cuts, show_grades
from app.common.own_money import in_chosen_currency
from app.common.preferences import chosen_currency
from app.common.show import as_typed, heading, problem, remark, visible_only
from app.lots.desk import current_lot, lot_name
from app.lots.report import report_downloads
from app.lots.shelf import Kept, kept
from app.lots.way import link, show_next, show_way
from calibration.errors import RefusedError, UsageError
from grader.grade import Candidate, candidates_of, grade_boards, with_weight
from grader.measured import VISIBLE_ONLY
from grader.places import assumptions_folder
from grader.valuation import Assumptions, load_set, sets_in

_FILE = "bench/page.py"


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("Which boards are worth the acid, and where to cut?", anchor=False)
    photos = tuple(done for done in kept().values() if done.measured.has_scale)
    if not photos:
        st.markdown("There is nothing to sort yet: measure photos of whole boards first, a finger's width apart.")
        link("measure/page.py", "Measure photos", ":material/arrow_forward:")
        return
    names = ", ".join(done.name for done in photos)
    st.markdown(f"{len(photos)} {'photo' if len(photos) == 1 else 'photos'}: {as_typed(names)}")
    try:
        shown = ask_shown(photos)
        asked = ask(_base(), shown, photos[0].request.board_thickness_mm)
        if asked is not None:
            keep_sorted(_sort(asked, photos))
    except UsageError as error:
        problem(error)
        return
    done = kept_sorted([photo.measured for photo in photos])
    if done is None:
        return
    st.divider()
    _results(done)
    visible_only(VISIBLE_ONLY)
    show_next(_FILE)


def _base() -> Assumptions:
    """The figures that hold where nothing is typed: a set of the user's own chosen under Value, or the examples."""
    chosen = st.session_state.get("assumptions")
    base = load_set(chosen if chosen in sets_in(assumptions_folder()) else None, assumptions_folder())
    return in_chosen_currency(base, chosen_currency())


def _sort(asked: BenchAnswers, photos: tuple[Kept, ...]) -> Sorted | None:
    """Search the photos for boards where that was not done yet, plan their cuts, and grade them.

    Raises:
        UsageError: as ``grade_boards``.
    """
    by_sha = {photo.sha256: photo for photo in photos}
    bar = st.progress(0.0)

    def say(number: int, name: str) -> None:
        bar.progress(number / len(asked.shown), f"{as_typed(name)}: finding the boards …")

    searched, failed = search_all(asked.shown, by_sha, say)
    bar.progress(1.0, "planning cuts …")
    found: list[Candidate] = []
    unknown: list[tuple[str, RefusedError]] = []
    for one in asked.shown:
        if one.sha256 in searched:
            seen, name = searched[one.sha256], by_sha[one.sha256].name
            candidates, bad = candidates_of(name, seen.boards, asked.rules, one.part, seen.picture())
            if one.weighed_g is not None and not bad and candidates:
                candidates = with_weight(candidates, one.weighed_g)
            elif one.weighed_g is not None:
                problem(_not_shared(), name)
            found += candidates
            unknown += bad
    bar.empty()
    if not found:
        for name, error in (*failed, *unknown):
            problem(error, name)
        return None
    grades = grade_boards(found, asked.prices, asked.thresholds, by=asked.by)
    fronts = tuple(by_sha[sha256] for sha256 in searched)
    used = {sha256 for one in asked.shown for sha256 in (one.sha256, one.back)}
    return Sorted(
        grades=grades,
        thresholds=asked.thresholds,
        prices=asked.prices,
        searched=searched,
        photos=fronts,
        shown=asked.shown,
        seen=tuple(photo for photo in photos if photo.sha256 in used),
        not_graded=tuple(unknown),
        failed=tuple(failed),
    )


def _not_shared() -> UsageError:
    return UsageError(
        "weighed-outlines",
        "Not every board's outline is known, so the weight cannot be divided among them; it is left out.",
        "Photograph these boards apart from each other.",
    )


def _results(done: Sorted) -> None:
    show_grades(done)
    show_cuts(done)
    plan = show_batch(done, ask_volume())
    heading("To take along")
    remark("The photos, what was found in them, where to cut, and what the batch needs.")
    report_downloads(partial(bench_report, lot_name(), done, plan), current_lot())


if __name__ == "__main__":
    show()
