"""Measure: photos in, the picture and the figures out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from app.common.printing import ask_print
from app.common.show import label, problem
from app.common.trouble import telling
from app.lots.desk import current_lot, desk, lot_key, start_lot
from app.lots.keep import ask_to_keep
from app.lots.learned import ask_properties
from app.lots.lot_folder import Waiting
from app.lots.measuring import Order
from app.lots.shelf import Kept, kept, take_off
from app.lots.way import show_next, show_way
from app.measure.correct_form import is_correcting, offer_correcting, show_correcting
from app.measure.progress import is_measuring, show_progress
from app.measure.result import show_all, show_result
from app.scale.form import MARKED, ask_request, ask_way
from calibration.errors import PhotoError, UsageError
from grader.samples import Demo, Sample, load_demo

_FILE = "measure/page.py"
_TAKEN_IN, _MISSING = "taken-in", "sample-missing"


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("How much gold is on the boards?", anchor=False)
    st.markdown("Photograph the boards from straight above, the printed target flat beside them.")
    own, sample, printing = st.tabs(["Your photos", "Try a sample photo", "Print the target"])
    with own:
        _own_photos()
    with sample:
        _samples()
    with printing:
        ask_print()
    row = desk().measuring(lot_key())
    if row is not None and not row.is_over:
        show_progress()
    elif current_lot().measured().keys() != kept().keys():
        st.rerun()  # the last photo was done while this was being drawn
    for name, error in row.failures() if row is not None else ():
        problem(error, name)
    shelf = list(reversed(kept().values()))
    if shelf:
        _results(shelf)
    if any(done.has_gold for done in shelf):
        show_next(_FILE)


def _own_photos() -> None:
    # Any file may be chosen: what it is its bytes say, and a wrong one then gets an answer that helps. A list of
    # endings would also make some phones leave out the camera.
    st.file_uploader(
        "Photos of the boards (a phone offers its camera)",
        accept_multiple_files=True,
        key="photos",
        on_change=_take_in,
    )
    photos = [photo for photo in _photos() if not photo.is_sample]
    if not photos or is_measuring():
        return
    names = {photo.sha256: photo.name for photo in photos}
    fresh = [sha256 for sha256 in names if sha256 not in kept() or not kept()[sha256].has_gold]
    if not fresh:
        with st.expander("Measure again, in another way", icon=":material/refresh:"):
            _ask(names, list(names))
        return
    _ask(names, fresh)


def _ask(names: dict[str, str], suggested: list[str]) -> None:
    """Which photos, how, and the button."""
    chosen = suggested
    if len(names) > 1:
        with st.expander("Choose which photos", icon=":material/checklist:"):
            chosen = [
                sha256
                for sha256, name in names.items()
                if st.checkbox(label(name), value=sha256 in suggested, key=f"desk-pick-{sha256}-{len(suggested)}")
            ]
        if not chosen:
            return
    way = ask_way()
    if way in MARKED and len(chosen) > 1:
        only = st.selectbox(
            "Points are marked on one photo at a time",
            chosen,
            format_func=lambda sha256: names[sha256],
            key="photo-to-mark",
        )
        chosen = [only]
    request = ask_request(way, names[chosen[0]], current_lot().photo(chosen[0]) or b"")
    properties = ask_properties()
    many = f"Measure {len(chosen)} photos" if len(chosen) > 1 else "Measure"
    ready = request is not None
    if st.button(many, type="primary", disabled=not ready, width="stretch") and request is not None:
        wanted = replace(request, properties=properties)
        desk().measure(lot_key(), [Order(names[sha256], sha256, wanted) for sha256 in chosen])
        st.rerun()


def _photos() -> list[Waiting]:
    """All photos of the lot, measured or not."""
    return [*current_lot().waiting(), *(Waiting(d.name, d.sha256, d.is_sample) for d in kept().values())]


@telling
def _take_in() -> None:
    """Put chosen photos into the lot at once, so that they are there after a reload."""
    files = st.session_state["photos"] or []
    known: set[str] = st.session_state.setdefault(_TAKEN_IN, set())
    fresh = [file for file in files if file.file_id not in known]
    if fresh and any(photo.is_sample for photo in _photos()):
        start_lot()  # nobody wants samples and photos of their own in one price
    for file in fresh:
        current_lot().hand_in(file.name, file.getvalue())
        known.add(file.file_id)


def _samples() -> None:
    demo = _demo()
    if demo is None:
        return
    st.markdown("Rendered pictures of invented boards, to try the tool without a camera.")
    samples = demo.samples
    st.selectbox("Sample photo", range(len(samples)), format_func=lambda i: samples[i].title, key="sample")
    if st.session_state.pop(_MISSING, False):
        problem(PhotoError("photo-missing", "This sample photo is not there.", "Install the program again."))
    st.button(
        "Measure this sample", width="stretch", disabled=is_measuring(), on_click=_measure_sample, args=(samples,)
    )


def _demo() -> Demo | None:
    try:
        return load_demo()
    except UsageError as error:
        problem(error)
        return None


@telling
def _measure_sample(samples: Sequence[Sample]) -> None:
    sample = samples[st.session_state["sample"]]
    try:
        data = sample.path.read_bytes()
    except OSError:
        st.session_state[_MISSING] = True
        return
    if any(not photo.is_sample for photo in _photos()):
        start_lot()
    photo = current_lot().hand_in(sample.path.name, data, is_sample=True)
    desk().measure(lot_key(), [Order(photo.name, photo.sha256, sample.request, is_sample=True)])


def _results(shelf: Sequence[Kept]) -> None:
    st.divider()
    opened = next((done for done in shelf if is_correcting(done)), None)
    if opened is not None:
        show_correcting(opened)
        return
    shown = shelf[0]
    if len(shelf) > 1:
        show_all(shelf)
        by_sha = {done.sha256: done for done in shelf}
        # a new key for a new photo on top, so that the one just measured is the one shown
        chosen = st.selectbox(
            "Show", list(by_sha), format_func=lambda sha: by_sha[sha].name, key=f"shown-{shelf[0].sha256}"
        )
        shown = by_sha[chosen]
    show_result(shown)
    offer_correcting(shown)
    st.button("Take this photo off the list", on_click=take_off, args=(shown.sha256,))
    with_gold = [done for done in shelf if done.has_gold]
    if with_gold:
        with st.expander("Keep this lot", icon=":material/save:"):
            ask_to_keep("measured", with_gold)


if __name__ == "__main__":
    show()
