"""Learn: what the yields teach, how good the estimates were, and corrections of the record."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import streamlit as st

from app.common.preferences import mass_unit
from app.common.show import as_typed, heading, problem, remark, table
from app.learn.chart import show_calibration, show_pairs, show_shifts
from app.lots.asking import ask_first, sure_of
from app.lots.keep import say_what_was_done, write_log
from app.lots.learned import contents_and_belief
from app.lots.way import show_next, show_way
from calibration.errors import GraderError, UsageError
from grader.learn import TOGETHER, Newest, calibration_curve, outcomes, pairs, record, returns, returns_by
from grader.learn.csv_import import COLUMNS, CsvRow, entries, read_csv
from grader.learn.ledger_tables import LEDGER_NOTE, held_sentences, ledger_tables
from grader.learn.tables import (
    belief_sentences,
    belief_table,
    flags_table,
    left_out_table,
    pairs_table,
    parts_table,
    record_tables,
    returns_table,
    rows_table,
    sellers_table,
    share_text,
)
from grader.log import Contents, Log, NewExclusion, NewMark, NewYield, Yield, checked
from grader.table import Table
from grader.units import format_mass, in_digits, parse_fineness, parse_weighed_mg

_FILE = "learn/page.py"
_T = TypeVar("_T")


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("What your yields teach", anchor=False)
    say_what_was_done()
    found = contents_and_belief()
    if found is None or not found[0].lots:
        st.markdown("No lot is kept yet. Keep one that was measured, and add the gold that you weigh.")
        return
    contents, belief = found
    if belief is None:
        st.markdown("Nothing to learn from yet: on the page Lots, add gold that you weighed from a measured lot.")
    else:
        _belief(belief)
    if contents.yields:
        _comparison(contents)
    if contents.yields or contents.purchases or contents.money:
        _money(contents)
    if contents.yields:
        _keep_right(contents)
    if contents.lots:
        with st.expander("Take yields from a CSV file", icon=":material/upload_file:"):
            _import(contents)
    show_next(_FILE)


def _belief(found: Newest) -> None:
    for sentence in belief_sentences(found):
        st.markdown(as_typed(sentence))
    shifts = found.belief.shifts()
    show_shifts(shifts)
    tables = belief_table(shifts), parts_table(found), sellers_table(found)
    for each in (*tables, flags_table(found.flags()), left_out_table(found)):
        _table(each)
    remark(TOGETHER)


def _table(each: Table) -> None:
    if each.rows:
        heading(each.title)
        table(each.columns, each.rows)


def _comparison(contents: Contents) -> None:
    all_pairs = pairs(contents)
    heading("Estimates against what was weighed")
    whole = record("all", all_pairs)
    if whole is None:
        st.markdown("No yield has an estimate that was made before it was weighed.")
    else:
        st.markdown(
            as_typed(
                f"Of {whole.count} {'yield' if whole.count == 1 else 'yields'}, {share_text(whole.coverage)} lie in "
                f"their 90 % range. Weighed ÷ estimated is {whole.ratio:.2f} on average."
            )
        )
        show_pairs(all_pairs)
        show_calibration(calibration_curve(all_pairs))
    with st.expander("Each yield, and groups of them"):
        for each in (pairs_table(all_pairs, mass_unit()), *record_tables(all_pairs, mass_unit())):
            _table(each)
        remark("Score: CRPS, in the unit of the gold; smaller is better.")


def _money(contents: Contents) -> None:
    with st.expander("What lots returned against what was paid", icon=":material/payments:"):
        _table(returns_table("By lot", returns(contents), mass_unit()))
        for by in ("seller", "part"):
            _table(returns_table(f"By {by}", returns_by(contents, by), mass_unit()))
        for each in ledger_tables(contents):
            _table(each)
        for sentence in held_sentences(outcomes(contents)):
            st.markdown(as_typed(sentence))
        if contents.purchases or contents.money:
            remark(LEDGER_NOTE)


def _keep_right(contents: Contents) -> None:
    with st.expander("Leave a yield out, or correct it", icon=":material/edit_note:"):
        numbers = {y.id: y for y in contents.current_yields()}
        number = st.selectbox("Yield", list(numbers), format_func=lambda n: _title(numbers[n]), key="yield")
        if number is not None:
            _exclude(contents, number)
            _correct(numbers[number])
    with st.expander("Your process changed, or start over", icon=":material/restart_alt:"):
        _mark()


def _title(gold: Yield) -> str:
    return f"No. {gold.id}: {format_mass(gold.mass_mg)} on {gold.weighed_on.isoformat()}"


def _exclude(contents: Contents, number: int) -> None:
    left_out = number in contents.excluded()
    with st.form("exclude", border=False):
        reason = st.text_input("Why it should count again" if left_out else "Why it should not be learned from")
        who = st.text_input("Who says so", key="exclude-who")

        def entry() -> NewExclusion:
            return checked(NewExclusion, excluded=not left_out, reason=reason, who=who)

        def write(log: Log, new: NewExclusion) -> str:
            log.exclude_yield(number, new)
            return f"Yield {number} is {'no longer' if new.excluded else 'again'} learned from."

        if st.form_submit_button("Learn from it again" if left_out else "Leave it out"):
            _write(entry, write)


def _correct(old: Yield) -> None:
    form = f"correct-{old.id}"
    with st.form(form, border=False):
        mass = st.text_input("Gold as it should have been entered", value=f"{in_digits(old.mass_mg, 6)} mg")
        fineness = st.text_input("Its fineness", value="" if old.fineness is None else in_digits(old.fineness, 6))
        day = st.date_input("Its day of weighing", value=old.weighed_on)
        reason = st.text_input("What was wrong")
        who = st.text_input("Who corrects it", key="correct-who")

        def entry() -> NewYield:
            fine = parse_fineness(fineness) if fineness.strip() else None
            new = old.as_new(
                mass_mg=parse_weighed_mg(mass),
                fineness=fine,
                fineness_known=None if fine is None else old.fineness_known or "assumed",
                weighed_on=day,
                who=who,
            )
            ask_first(form, new, lambda asker: asker.of_correction(new, old.id), sure=sure)
            return new

        def write(log: Log, new: NewYield) -> str:
            kept = log.correct_yield(old.id, new, reason)
            return f"Yield {kept.id} takes the place of yield {old.id}, which stays in the log."

        sure = sure_of(form)
        if st.form_submit_button("Correct it"):
            _write(entry, write)


def _mark() -> None:
    with st.form("mark", border=False):
        kinds = {
            "process": "My process changed from this day on: recovery is learned anew, thickness is not",
            "reset": "Start over: ignore everything weighed up to this day",
        }
        kind = st.radio("What happened", list(kinds), format_func=lambda word: kinds[word])
        day = st.date_input("Day", value="today", key="mark-day")
        note = st.text_input("What changed, or why")
        who = st.text_input("Who says so", key="mark-who")

        def write(log: Log, new: NewMark) -> str:
            log.add_mark(new)
            return f"Marked for {new.day.isoformat()}."

        if st.form_submit_button("Mark it"):
            _write(lambda: checked(NewMark, kind=kind, day=day, note=note, who=who), write)


def _import(contents: Contents) -> None:
    st.markdown(
        as_typed(f"A header of {', '.join(COLUMNS)}; the first three must be there. Masses carry their unit.")
    )
    file = st.file_uploader("CSV file", key="csv")
    if file is None:
        return
    try:
        rows = read_csv(file.getvalue().decode("utf-8-sig"), contents)
    except UnicodeDecodeError:
        problem(UsageError("file-invalid", "The file is not UTF-8 text.", "Save it as UTF-8."))
        return
    except GraderError as error:
        problem(error)
        return
    _table(rows_table(rows))
    if all(row.problem is None for row in rows):
        odd = any(row.questions for row in rows)
        if odd and not st.checkbox("The rows that look wrong are right: add them all the same", key="csv-sure"):
            return
        if st.button("Add this yield" if len(rows) == 1 else f"Add these {len(rows)} yields"):
            _write(lambda: rows, _add_rows)
    else:
        st.markdown("Nothing can be added until every row is right.")


def _add_rows(log: Log, rows: tuple[CsvRow, ...]) -> str:
    count = len(log.add_yields(entries(rows)))
    return f"{count} {'yield' if count == 1 else 'yields'} added."


def _write(entry: Callable[[], _T], write: Callable[[Log, _T], str]) -> None:
    try:
        new = entry()
    except UsageError as error:
        problem(error)
        return
    if write_log(lambda log: write(log, new)):
        st.rerun()


if __name__ == "__main__":
    show()
