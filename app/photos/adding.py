"""Photos come in and are measured at once: what gives the scale is asked only where none was found."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app.common.show import problem
from app.common.trouble import telling
from app.lots.desk import current_lot, desk, lot_key, start_lot
from app.lots.learned import usual_properties
from app.lots.lot_folder import Waiting
from app.lots.measuring import Order
from app.lots.sheets import is_undecided, want
from app.lots.shelf import kept
from app.photos.progress import is_measuring, show_progress
from calibration.errors import PhotoError, UsageError
from calibration.print_check import load_print_check
from grader.places import print_check_path
from grader.request import Request
from grader.samples import Demo, Sample, load_demo
from grader.scale_choice import Automatic

_TAKEN_IN, _ARRIVED = "taken-in", "desk-photos-came"


def ask_photos(label: str) -> bool:
    """The field for photos; they are in the lot at once, so that they are there after a reload.

    Returns:
        Whether photos came with the last action.
    """
    # Any file may be chosen: what it is its bytes say, and a wrong one then gets an answer that helps. A list of
    # endings would also make some phones leave out the camera.
    with st.container(key="add-photos"):
        st.file_uploader(
            label, accept_multiple_files=True, key="photos", on_change=_take_in, label_visibility="collapsed"
        )
    return bool(st.session_state.pop(_ARRIVED, False))


def ask_sample() -> bool:
    """Rendered pictures to try the tool on; whether one was chosen with the last action."""
    demo = _demo()
    if demo is None:
        return False
    st.markdown("Rendered pictures of invented boards, to try the tool without a camera.")
    samples = demo.samples
    st.selectbox("Sample photo", range(len(samples)), format_func=lambda i: samples[i].title, key="sample")
    st.button("Measure this sample", width="stretch", disabled=is_measuring(), on_click=_take_sample, args=(samples,))
    return bool(st.session_state.pop(_ARRIVED, False))


def photos_of_lot() -> list[Waiting]:
    """All photos of the lot, measured or not."""
    return [*current_lot().waiting(), *(Waiting(d.name, d.sha256, d.is_sample) for d in kept().values())]


def measure_what_waits() -> None:
    """Begin to measure photos that came; show how far it is, or what could not be measured.

    What was stopped by hand, or failed, is offered and not begun again by itself.
    """
    row = desk().measuring(lot_key())
    if row is None or row.is_over:
        tried = set() if row is None else {turn.order.sha256 for turn in row.turns}
        waiting = current_lot().waiting()
        fresh = [photo for photo in waiting if photo.sha256 not in tried]
        if fresh:
            _measure(fresh)
            row = desk().measuring(lot_key())
        elif waiting:
            count = len(waiting)
            st.button(
                f"Go on measuring: {count} {'photo' if count == 1 else 'photos'} left",
                icon=":material/play_arrow:",
                key="go-on-measuring",
                on_click=_measure,
                args=(waiting,),
            )
    if row is not None and not row.is_over:
        show_progress()
    elif {d.stamp for d in current_lot().measured().values()} != {d.stamp for d in kept().values()}:
        st.rerun()  # the last photo was done while this was being drawn
    for name, error in row.failures() if row is not None else ():
        problem(error, name)


def usual_request() -> Request:
    """How a photo is measured where nobody says otherwise: by whatever of known size is found in it."""
    try:
        check = load_print_check(print_check_path())
    except UsageError as error:
        problem(error)
        check = None
    factor = None if check is None else check.print_factor()
    return Request(Automatic(), print_factor=factor, properties=usual_properties())


@telling
def _measure(photos: Sequence[Waiting]) -> None:
    own = usual_request()
    requests = {} if not any(p.is_sample for p in photos) else _sample_requests()
    orders = [Order(p.name, p.sha256, requests.get(p.name, own), p.is_sample) for p in photos]
    desk().measure(lot_key(), orders)


def _sample_requests() -> dict[str, Request]:
    demo = _demo()
    return {} if demo is None else {sample.path.name: sample.request for sample in demo.samples}


@telling
def _take_in() -> None:
    files = st.session_state.get("photos") or []  # the page with the field may just have been left
    known: set[str] = st.session_state.setdefault(_TAKEN_IN, set())
    fresh = [file for file in files if file.file_id not in known]
    if fresh and any(photo.is_sample for photo in photos_of_lot()):
        start_lot()  # nobody wants samples and photos of their own in one price
    for file in fresh:
        current_lot().hand_in(file.name, file.getvalue())
        known.add(file.file_id)
    if fresh:
        st.session_state[_ARRIVED] = True
        if current_lot().photo_count > 1 and is_undecided(current_lot()):
            want(current_lot())  # several pictures of a listing show the same boards again


def _demo() -> Demo | None:
    try:
        return load_demo()
    except UsageError as error:
        problem(error)
        return None


@telling
def take_first_sample() -> None:
    """Put a sample into the lot, which is measured as photos are.

    Raises:
        PhotoError: told when the page is drawn: the program was installed without it.
    """
    demo = load_demo()
    _hand_in(demo.samples[0])


@telling
def _take_sample(samples: Sequence[Sample]) -> None:
    _hand_in(samples[st.session_state["sample"]])


def _hand_in(sample: Sample) -> None:
    try:
        data = sample.path.read_bytes()
    except OSError as error:
        raise PhotoError("photo-missing", "This sample photo is not there.", "Install the program again.") from error
    if any(not photo.is_sample for photo in photos_of_lot()):
        start_lot()
    current_lot().hand_in(sample.path.name, data, is_sample=True)
    st.session_state[_ARRIVED] = True
