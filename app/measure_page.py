"""Measure: photos in, the picture and the figures out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from app.keep import ask_to_keep
from app.learned import ask_properties
from app.printing import ask_print
from app.result import show_all, show_result
from app.scale_form import MARKED, ask_request, ask_way
from app.shelf import Kept, kept, measure_once, take_off
from app.show import plain, problem
from calibration.errors import GraderError, PhotoError, UsageError
from grader.measure import Request, Step
from grader.report.words import STEP_WORDS
from grader.samples import Demo, Sample, load_demo

_FAILED = "failed"
_STEPS = tuple(STEP_WORDS)

Upload = tuple[str, bytes]


def show() -> None:
    """Draw the page."""
    st.title("How much gold is on the boards?", anchor=False)
    st.markdown("Photograph the boards from straight above, the printed target flat beside them.")
    own, sample, printing = st.tabs(["Your photos", "Try a sample photo", "Print the target"])
    with own:
        _own_photos()
    with sample:
        _samples()
    with printing:
        ask_print()
    failures: list[tuple[str, GraderError]] = st.session_state.get(_FAILED, [])
    for name, error in failures:
        problem(error, name)
    shelf = list(reversed(kept().values()))
    if shelf:
        _results(shelf)


def _own_photos() -> None:
    # Any file may be chosen: what it is its bytes say, and a wrong one then gets an answer that helps. A list of
    # endings would also make some phones leave out the camera.
    files = st.file_uploader(
        "Photos of the boards (a phone offers its camera)", accept_multiple_files=True, key="photos"
    )
    if not files:
        return
    uploads = [(file.name, file.getvalue()) for file in files]
    way = ask_way()
    if way in MARKED and len(uploads) > 1:
        names = [name for name, _ in uploads]
        at = st.selectbox(
            "Points are marked on one photo at a time",
            range(len(uploads)),
            format_func=lambda i: names[i],
            key="photo-to-mark",
        )
        uploads = [uploads[at]]
    request = ask_request(way, *uploads[0])
    properties = ask_properties()
    many = f"Measure {len(uploads)} photos" if len(uploads) > 1 else "Measure"
    if st.button(many, type="primary", disabled=request is None, width="stretch") and request is not None:
        _measure(uploads, replace(request, properties=properties), is_sample=False)


def _samples() -> None:
    demo = _demo()
    if demo is None:
        return
    st.markdown("Rendered pictures of invented boards, to try the tool without a camera.")
    samples = demo.samples
    chosen = st.selectbox("Sample photo", range(len(samples)), format_func=lambda i: samples[i].title, key="sample")
    if st.button("Measure this sample", width="stretch"):
        _measure_sample(samples[chosen])


def _demo() -> Demo | None:
    try:
        return load_demo()
    except UsageError as error:
        problem(error)
        return None


def _measure_sample(sample: Sample) -> None:
    try:
        data = sample.path.read_bytes()
    except OSError:
        problem(PhotoError("photo-missing", f"The sample {sample.path.name} is not there.", "Install it again."))
        return
    _measure([(sample.path.name, data)], sample.request, is_sample=True)


def _measure(uploads: Sequence[Upload], request: Request, *, is_sample: bool) -> None:
    """Measure one after another, going on after a bad one."""
    failures: list[tuple[str, GraderError]] = []
    bar = st.progress(0.0)
    for number, (name, data) in enumerate(uploads):
        about = f"Photo {number + 1} of {len(uploads)}, {plain(name)}" if len(uploads) > 1 else plain(name)

        def say(step: Step, number: int = number, about: str = about) -> None:
            done = (number + _STEPS.index(step) / len(_STEPS)) / len(uploads)
            bar.progress(done, f"{about}: {STEP_WORDS[step]} …")

        bar.progress(number / len(uploads), f"{about}: reading the photo …")
        try:
            measure_once(name, data, request, say, is_sample=is_sample)
        except GraderError as error:
            failures.append((name, error))
    bar.empty()
    st.session_state[_FAILED] = failures


def _results(shelf: Sequence[Kept]) -> None:
    st.divider()
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
    st.button("Take this photo off the list", on_click=take_off, args=(shown.sha256,))
    with_gold = [done for done in shelf if done.has_gold]
    if with_gold:
        st.page_link("value_page.py", label="Next: what is it worth?", icon=":material/arrow_forward:")
        with st.expander("Keep in the log", icon=":material/save:"):
            ask_to_keep("measured", with_gold)


if __name__ == "__main__":
    show()
