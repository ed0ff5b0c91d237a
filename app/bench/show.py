"""Grades, cuts and the batch as a person reads them, each behind a fold."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import get_args

import streamlit as st

from app.bench.boards import BenchPhoto, Searched
from app.common.preferences import mass_unit
from app.common.show import as_typed, caution, cautions, heading, problem, remark, table, told_list
from app.lots.lot_folder import Kept
from calibration.arrays import RgbArray
from calibration.errors import RefusedError
from calibration.target import Paper
from grader.batch import BatchPlan, Vessels, load_process, plan_batch
from grader.batch.shopping import TITLE as SHOPPING
from grader.batch.words import STATEMENTS, batch_lines, plan_tables
from grader.cautions import lines_for, short_lines_for
from grader.cut import PlannedBoard
from grader.cut.picture import draw_cuts
from grader.cut.words import cut_document, cut_lines, cut_notes
from grader.grade import CLASSES, Class, Grades, Thresholds, charge_to_process
from grader.grade.sheet import sheet_pdf, sheet_png
from grader.grade.words import (
    CELL_NOTE,
    CLASS_WORDS,
    PART_COLUMNS,
    cell_lines,
    cut_part_rows,
    grade_notes,
    grades_document,
    order_lines,
)
from grader.places import process_folder
from grader.units import parse_volume_ml
from grader.valuation import Assumptions

_PAPERS: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}
_ACROSS = 2
_HIGHEST_PX = 260
_VOLUME = "vessel-volume"


@dataclass(frozen=True, eq=False)
class Sorted:
    """The results of the bench.

    Attributes:
        grades: of all boards.
        thresholds: that were used.
        prices: that were used.
        searched: each photo of fronts, by its sha256.
        photos: these photos.
        shown: their description.
        seen: all photos of the boards, fronts and backs.
        not_graded: boards that could not be graded, by name.
    """

    grades: Grades
    thresholds: Thresholds
    prices: Assumptions
    searched: dict[str, Searched]
    photos: tuple[Kept, ...]
    shown: tuple[BenchPhoto, ...]
    seen: tuple[Kept, ...]
    not_graded: tuple[tuple[str, RefusedError], ...]


def show_grades(done: Sorted) -> None:
    """Show the boards by grade, their order, and the sheet to download."""
    remark(CELL_NOTE)
    for grade in CLASSES:
        _boards(done, grade)
    lines = order_lines(done.grades)
    if lines:
        heading("How sure is the order?")
        told_list([(line, "") for line in lines])
    rows = cut_part_rows(done.grades)
    if rows:
        heading("Parts")
        table(PART_COLUMNS, rows)
    _downloads(done)
    for note in grade_notes(done.grades, done.thresholds):
        remark(note)


def _boards(done: Sorted, grade: Class) -> None:
    found = [g for g in done.grades.boards if g.grade == grade]
    if not found:
        return
    heading(f"{CLASS_WORDS[grade].capitalize()}")
    for start in range(0, len(found), _ACROSS):
        columns = st.columns(_ACROSS)
        for column, graded in zip(columns, found[start : start + _ACROSS], strict=False):
            with column, st.container(border=True):
                name, *lines = cell_lines(graded, done.grades.currency, mass_unit())
                if graded.candidate.picture is not None:
                    _picture(graded.candidate.picture, f"{name}: {CLASS_WORDS[grade]}")
                st.markdown(f"**{as_typed(name)}**  \n" + "  \n".join(as_typed(line) for line in lines))


def _picture(rgb: RgbArray, alt: str) -> None:
    """Show a board cut out of its photo, limited in height."""
    height, width = rgb.shape[:2]
    st.image(rgb, width="stretch" if width > height else max(round(_HIGHEST_PX * width / height), 1), alt=alt)


def _downloads(done: Sorted) -> None:
    with st.container(horizontal=True):
        _download("Sheet (PDF)", partial(_sheet, done), "grades.pdf", "application/pdf")
        picture = partial(sheet_png, done.grades, done.thresholds, done.not_graded)
        _download("Sheet (PNG)", picture, "grades.png", "image/png")
        _download("Grades (JSON)", partial(_json, done), "grades.json", "application/json")


def _download(words: str, make: Callable[[], bytes | str], name: str, mime: str) -> None:
    """Draw a download button; its file is made when it is pressed."""
    st.download_button(words, make, file_name=name, mime=mime, on_click="ignore")


def _sheet(done: Sorted) -> bytes:
    return sheet_pdf(done.grades, done.thresholds, not_graded=done.not_graded)


def _json(done: Sorted) -> str:
    document = grades_document(done.grades, done.thresholds, done.not_graded)
    return json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n"


def show_cuts(done: Sorted) -> None:
    """Show the cuts of the boards to process, or of all: picture, list and template."""
    processed = to_cut(done)
    every = st.radio(
        "Boards to cut",
        ["those to process", "all"],
        index=0 if processed else 1,
        horizontal=True,
        key="desk-cut-which",
    )
    planned: list[tuple[str, PlannedBoard]] = []
    for photo in done.photos:
        boards = plans_of(done, photo, None if every == "all" else processed)
        named = [(f"{photo.name}, board {n}", b) for n, b in enumerate(boards, 1) if isinstance(b, PlannedBoard)]
        if not named:
            continue
        picture: RgbArray = draw_cuts(*done.searched[photo.sha256].picture(), boards)
        st.image(picture, width="stretch", alt=f"Where to cut the boards in {photo.name}")
        for name, board in named:
            with st.expander(as_typed(name), expanded=len(named) == 1):
                told_list([(line, "") for line in cut_lines(board, mass_unit())])
        planned += named
    if not planned:
        st.markdown("No board is to be cut.")
        return
    _cut_downloads(done, planned)
    for note in cut_notes(board for _, board in planned):
        remark(note)


def to_cut(done: Sorted) -> set[str]:
    """Names of the boards to process."""
    return {g.candidate.name for g in done.grades.boards if g.grade == "process"}


def plans_of(done: Sorted, photo: Kept, chosen: set[str] | None) -> list[PlannedBoard | RefusedError]:
    """The plans of a photo's boards, in their order; those not among the chosen names count as refused."""
    plans = {g.candidate.name: g.candidate for g in done.grades.boards}
    found: list[PlannedBoard | RefusedError] = []
    for number, board in enumerate(done.searched[photo.sha256].boards, 1):
        candidate = plans.get(f"{photo.name}, board {number}")
        if isinstance(board, RefusedError) or candidate is None:
            found.append(board if isinstance(board, RefusedError) else _not_chosen())
        elif candidate.planned is None:
            found.append(candidate.why_not or _not_chosen())
        else:
            found.append(candidate.planned if chosen is None or candidate.name in chosen else _not_chosen())
    return found


def _not_chosen() -> RefusedError:
    return RefusedError(
        "not-to-process", "This board is not to be processed.", "Sell it whole or leave it, as sorted."
    )


def _cut_downloads(done: Sorted, planned: Sequence[tuple[str, PlannedBoard]]) -> None:
    # reportlab is slow to load, and only this needs it
    from grader.cut.template import check_paper, template_pdf

    paper: Paper = st.selectbox(
        "Paper of the template", get_args(Paper), format_func=lambda p: _PAPERS[p], key="template-paper"
    )
    fitting = []
    for name, board in planned:
        try:
            check_paper(name, board, paper)
        except RefusedError as error:
            problem(error)
        else:
            fitting.append((name, board))
    with st.container(horizontal=True):
        if fitting:
            template = partial(template_pdf, fitting, paper)
            _download("Template at true size (PDF)", template, f"cuts-{paper}.pdf", "application/pdf")
        _download("Cuts (JSON)", partial(_cuts_json, done), "cuts.jsonl", "application/jsonl")


def _cuts_json(done: Sorted) -> str:
    documents = (cut_document(photo.name, plans_of(done, photo, None)) for photo in done.photos)
    return "".join(json.dumps(d, ensure_ascii=False, allow_nan=False) + "\n" for d in documents)


def ask_volume() -> str:
    """Ask for the volume of a vessel."""
    st.text_input("Volume of a vessel", key=_VOLUME, placeholder="1 l", persist_state="session")
    return asked_volume()


def asked_volume() -> str:
    """The last entry; empty if there is none."""
    return str(st.session_state.get(_VOLUME) or "").strip()


def batch_of(done: Sorted, volume: str) -> BatchPlan:
    """Plan the batch for the chosen boards; only kept pieces go in.

    Raises:
        RefusedError, UsageError: as ``charge_to_process``, ``parse_volume_ml`` and ``plan_batch``.
    """
    charge = charge_to_process(done.grades)
    return plan_batch(
        charge, load_process(None, process_folder()), Vessels(parse_volume_ml(volume or "1 l")), done.prices
    )


def show_batch(plan: BatchPlan) -> None:
    """Show the needs of the batch, except the shopping list."""
    told_list([(line, "") for line in batch_lines(plan, mass_unit())])
    for each in plan_tables(plan):
        if each.title != SHOPPING:
            with st.expander(as_typed(each.title)):
                table(each.columns, each.rows)
    for item in plan.notices:
        caution(item)
    for text in STATEMENTS:
        remark(text)


def show_shopping(plan: BatchPlan) -> None:
    """Show what to have ready."""
    for each in plan_tables(plan):
        if each.title == SHOPPING:
            table(each.columns, each.rows)


def show_cautions(*, with_acid: bool) -> None:
    """Show the hazards: the worst always in sight, all of them behind a fold.

    Args:
        with_acid: whether a batch is planned, not only cuts.
    """
    cautions(short_lines_for("batch" if with_acid else "cut"))
    told = [*lines_for("cut"), *(lines_for("batch") if with_acid else ())]
    with st.expander("Before you begin: all that can hurt", icon=":material/health_and_safety:"):
        told_list([(line, "") for line in dict.fromkeys(told)])
