"""The bench's answer in one card: the number of boards worth processing, the contents of the batch, and the cuts."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import streamlit as st

from app.bench.show import Sorted, plans_of, to_cut
from app.common.show import advice_of, as_typed, problem, told_list
from calibration.arrays import RgbArray
from calibration.errors import RefusedError, UsageError
from grader.batch import BatchPlan
from grader.batch.words import batch_in_short
from grader.cut import PlannedBoard
from grader.cut.picture import draw_cuts
from grader.grade import CLASSES
from grader.grade.words import CLASS_WORDS

_MOST_NAMED = 8


def show_answer(done: Sorted, batch: BatchPlan | RefusedError | UsageError) -> None:
    """Draw the card: counts, the boards to process, and the batch in short."""
    with st.container(key="bench-card", border=True):
        with st.container(horizontal=True, key="bench-counts"):
            for grade in CLASSES:
                count = sum(g.grade == grade for g in done.grades.boards)
                st.metric(CLASS_WORDS[grade].capitalize(), str(count))
        chosen = to_cut(done)
        if chosen:
            st.markdown(as_typed(f"Worth the acid: {_named(done, chosen)}."))
        if isinstance(batch, BatchPlan):
            told_list([(line, "") for line in batch_in_short(batch)])
        elif isinstance(batch, RefusedError):
            st.markdown(f"{as_typed(batch.message)} {as_typed(advice_of(batch))}")
        else:
            problem(batch)
    for name, refusal in done.not_graded:
        problem(refusal, name)
    _cuts(done, chosen)


def _named(done: Sorted, chosen: set[str]) -> str:
    """The boards by their numbers in the pictures; the photo's name appears once."""
    places = [(photo.name, n) for photo in done.photos for n in _numbers(done, photo.sha256)]
    kept = [(photo, n) for photo, n in places if f"{photo}, board {n}" in chosen]
    words = [
        f"{'board' if len(numbers) == 1 else 'boards'} {_listed(numbers)} of {photo}"
        for photo, group in groupby(kept, lambda each: each[0])
        for numbers in [[n for _, n in group]]
    ]
    return "; ".join(words)


def _numbers(done: Sorted, sha256: str) -> range:
    return range(1, len(done.searched[sha256].boards) + 1)


def _listed(numbers: Sequence[int]) -> str:
    shown = [str(n) for n in numbers[:_MOST_NAMED]]
    more = len(numbers) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def _cuts(done: Sorted, chosen: set[str]) -> None:
    """Draw the first photo with cuts in boards to process; all of them are behind a fold."""
    for photo in done.photos:
        boards = plans_of(done, photo, chosen)
        if any(isinstance(b, PlannedBoard) for b in boards):
            picture: RgbArray = draw_cuts(*done.searched[photo.sha256].picture(), boards)
            with st.container(key="photo"):
                st.image(picture, width="stretch", alt=f"Where to cut the boards to process in {photo.name}")
            return
