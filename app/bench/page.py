"""Bench: the boards that are worth the acid, the cuts, and the needs of the batch."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from app.bench.answer import show_answer
from app.bench.boards import search_all
from app.bench.form import BenchAnswers, ask, ask_bench_photos, was_sent
from app.bench.report import bench_report, keep_sorted, kept_sorted
from app.bench.show import (
    Sorted,
    ask_volume,
    asked_volume,
    batch_of,
    show_batch,
    show_cautions,
    show_cuts,
    show_grades,
    show_shopping,
)
from app.common.arrive import arrive
from app.common.own_money import in_chosen_currency
from app.common.preferences import chosen_currency
from app.common.show import as_typed, problem, remark, visible_only
from app.lots.desk import current_lot, lot_key, lot_name
from app.lots.report import report_downloads
from app.lots.shelf import Kept, kept
from app.lots.way import link, show_next, show_way
from calibration.errors import GraderError, RefusedError, UsageError
from grader.batch import BatchPlan
from grader.grade import Candidate, candidates_of, grade_boards, with_weight
from grader.measured import VISIBLE_ONLY
from grader.places import assumptions_folder
from grader.valuation import Assumptions, load_set, sets_in

_FILE = "bench/page.py"
_JUST_SORTED, _FAILED = "desk-just-sorted", "desk-sorting-failed"


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("Which boards are worth the acid, and where to cut?", anchor=False)
    photos = tuple(done for done in kept().values() if done.measured.has_scale)
    if not photos:
        st.markdown("There is nothing to sort yet: measure photos of whole boards first, a finger's width apart.")
        link("measure/page.py", "Measure photos", ":material/arrow_forward:")
        return
    answer = st.container(key="bench-answer")
    done = kept_sorted([photo.measured for photo in photos])
    with st.expander(
        "Gold price, and how to sort and cut" if done is None else _folded_words(),
        expanded=done is None,
        icon=":material/edit_note:",
    ):
        _ask(photos, done)
    if done is None:
        with answer:
            _tell(_failed())
        return
    plan = _planned(done)
    with answer:
        _tell(_failed())
        show_answer(done, plan)
    if st.session_state.pop(_JUST_SORTED, False):
        arrive(".st-key-bench-card", asked=True)
    _folds(done, plan)
    visible_only(VISIBLE_ONLY)
    show_next(_FILE)


def _tell(failed: Sequence[tuple[str, GraderError]]) -> None:
    for about, error in failed:
        problem(error, about)


def _ask(photos: tuple[Kept, ...], done: Sorted | None) -> None:
    """Draw the questions; after submission, compute the results and draw the page again with the answer on top."""
    names = ", ".join(each.name for each in photos)
    st.markdown(f"{len(photos)} {'photo' if len(photos) == 1 else 'photos'}: {as_typed(names)}")
    found, failed = None, list[tuple[str, GraderError]]()
    try:
        asked = ask(_base(), ask_bench_photos(photos), photos[0].request.board_thickness_mm)
        if asked is not None:
            found = _sort(asked, photos, failed)
    except UsageError as error:
        failed.append(("", error))
    if not was_sent():
        return
    st.session_state[_FAILED] = lot_key(), failed
    if found is not None or failed or done is not None:
        keep_sorted(found)  # also if it is None: the last result belonged to other entries
        st.session_state[_JUST_SORTED] = found is not None
        st.rerun()


def _failed() -> list[tuple[str, GraderError]]:
    """Errors of this lot's last sorting, each with its photo or board."""
    key, failed = st.session_state.get(_FAILED, ("", []))
    return failed if key == lot_key() else []


def _folded_words() -> str:
    """The questions in one line."""
    return " · ".join([*filter(None, [str(st.session_state.get("spot") or "").strip()]), "change"])


def _planned(done: Sorted) -> BatchPlan | RefusedError | UsageError:
    """The batch, or why there is none."""
    try:
        return batch_of(done, asked_volume())
    except (RefusedError, UsageError) as error:
        return error


def _base() -> Assumptions:
    """The default figures: the user's own set chosen under Value, or the examples."""
    chosen = st.session_state.get("assumptions")
    base = load_set(chosen if chosen in sets_in(assumptions_folder()) else None, assumptions_folder())
    return in_chosen_currency(base, chosen_currency())


def _sort(asked: BenchAnswers, photos: tuple[Kept, ...], failed: list[tuple[str, GraderError]]) -> Sorted | None:
    """Search the photos for boards if necessary, plan their cuts, and grade them.

    Args:
        asked: all answers of the form.
        photos: of the lot.
        failed: receives the errors, each with its photo or board.

    Raises:
        UsageError: as ``grade_boards``.
    """
    by_sha = {photo.sha256: photo for photo in photos}
    bar = st.progress(0.0)

    def say(number: int, name: str) -> None:
        bar.progress(number / len(asked.shown), f"{as_typed(name)}: finding the boards …")

    searched, unsearched = search_all(asked.shown, by_sha, say)
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
                failed.append((name, _not_shared()))
            found += candidates
            unknown += bad
    bar.empty()
    failed += unsearched
    if not found:
        failed += unknown
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
    )


def _not_shared() -> UsageError:
    return UsageError(
        "weighed-outlines",
        "Not every board's outline is known, so the weight cannot be divided among them; it is left out.",
        "Photograph these boards apart from each other.",
    )


def _folds(done: Sorted, plan: BatchPlan | RefusedError | UsageError) -> None:
    """Draw everything behind the answer."""
    batch = plan if isinstance(plan, BatchPlan) else None
    count = len(done.grades.boards)
    with st.expander("Where to cut: picture, list and template", icon=":material/content_cut:", key="where-to-cut"):
        show_cuts(done)
    if batch is not None:
        with st.expander("What to have ready", icon=":material/shopping_cart:", key="shopping"):
            show_shopping(batch)
    with st.expander("What the batch needs", icon=":material/science:", key="batch"):
        ask_volume()
        if batch is not None:
            show_batch(batch)
    with st.expander(f"Board by board ({count}), and how sure", icon=":material/developer_board:", key="boards"):
        show_grades(done)
    with st.expander("Report to take along", icon=":material/description:", key="bench-report"):
        remark("The photos, what was found in them, where to cut, and what the batch needs.")
        report_downloads(partial(bench_report, lot_name(), done, batch), current_lot())
    show_cautions(with_acid=batch is not None)


if __name__ == "__main__":
    show()
