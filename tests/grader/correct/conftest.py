"""What hypothesis draws where a test asks for a correction: in and a little beyond a photo of 320 × 240."""

from __future__ import annotations

from hypothesis import strategies as st

from grader.correct import Confirmed, FilledIn, FilledOut, FinishChanged, LeftOut, PaintedIn, PaintedOut
from grader.model import FINISHES

_HEIGHT, _WIDTH = 240, 320

_points = st.tuples(
    st.floats(-30, _WIDTH + 30, allow_nan=False).map(lambda v: round(v, 2)),
    st.floats(-30, _HEIGHT + 30, allow_nan=False).map(lambda v: round(v, 2)),
)
_paths = st.lists(_points, min_size=1, max_size=5).map(tuple)
_radii = st.floats(0.5, 40)
_finishes = st.sampled_from(FINISHES)

st.register_type_strategy(PaintedIn, st.builds(PaintedIn, _paths, _radii, _finishes))
st.register_type_strategy(PaintedOut, st.builds(PaintedOut, _paths, _radii))
_more = st.lists(_points, max_size=3).map(tuple)
_corners = st.lists(_points, min_size=3, max_size=6).map(tuple)
_on_screen = st.floats(0.1, 8)
st.register_type_strategy(FilledIn, st.builds(FilledIn, _corners, _finishes, _on_screen))
st.register_type_strategy(FilledOut, st.builds(FilledOut, _corners, _on_screen))
st.register_type_strategy(FinishChanged, st.builds(FinishChanged, _points, _finishes, _more))
st.register_type_strategy(LeftOut, st.builds(LeftOut, _points, _more))
st.register_type_strategy(Confirmed, st.builds(Confirmed, _points, _more))
