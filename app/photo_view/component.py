"""The picture components: HTML, style and scripts beside this file, no build step."""

from __future__ import annotations

from importlib import resources

import streamlit as st

from calibration.finishes import FINISH_HATCH, FINISH_RGB, FINISH_WORDS
from grader.model import FINISHES

_ZOOM = """
<button type="button" data-part="nearer" aria-label="Nearer">+</button>
<button type="button" data-part="further" aria-label="Further away">−</button>
<button type="button" data-part="whole">Whole photo</button>
"""


def _canvas(label: str, role: str = "application") -> str:
    return f'<canvas data-part="photo" tabindex="0" role="{role}" aria-label="{label}"></canvas>'


_CHIPS = "".join(
    f'<span><span class="chip {FINISH_HATCH[f]}" style="background-color:rgb{FINISH_RGB[f]}"></span>'
    f"{FINISH_WORDS[f]}</span>"
    for f in FINISHES
)
_BARE = """
<label>Bare photo <input type="range" data-part="bare" min="0" max="100" value="0"
  aria-label="How much of the picture shows the bare photo, from its left edge"></label>
"""
_CORRECT = f"""
<div class="photo-view">
  <div class="row" role="group" aria-label="What a touch does">
    <button type="button" data-part="look">Choose</button>
    <button type="button" data-part="drop">Leave out</button>
    <button type="button" data-part="paint_in">Paint in</button>
    <button type="button" data-part="paint_out">Paint out</button>
  </div>
  <div class="row" data-part="scope_row" role="group" aria-label="How much of it">
    <button type="button" data-part="one">One place</button>
    <button type="button" data-part="row">Its whole row</button>
    <button type="button" data-part="board">Its whole board</button>
  </div>
  <div class="row" data-part="tool_row" role="group" aria-label="With what">
    <button type="button" data-part="brush">Brush</button>
    <button type="button" data-part="polygon">Polygon</button>
    <label data-part="finish_row">of
      <select data-part="paint_finish" aria-label="What is painted in is">
        {"".join(f'<option value="{f}">{FINISH_WORDS[f]}</option>' for f in reversed(FINISHES))}
      </select>
    </label>
  </div>
  {_canvas("The photo. Arrow keys move it, plus and minus enlarge it, Enter acts on its middle.")}
  <div class="row" role="group" aria-label="Steps">
    <button type="button" data-part="undo">Undo</button>
    <button type="button" data-part="redo">Redo</button>
    <button type="button" data-part="take_back">Undo all</button>
    {_ZOOM}
  </div>
  <div class="row" data-part="brush_row">
    <label>Brush <input type="range" data-part="brush_width" min="0" max="100" aria-label="Width of the brush">
      <output data-part="brush_size"></output></label>
  </div>
  <div class="row" data-part="polygon_row">
    <button type="button" data-part="close_polygon">Close the polygon</button>
    <span class="text" data-part="corners" role="status"></span>
  </div>
  <div class="row" data-part="chosen_row" role="group" aria-label="The chosen place">
    <span class="text" data-part="chosen" role="status"></span>
    <button type="button" data-part="previous" aria-label="Previous place">‹</button>
    <button type="button" data-part="next" aria-label="Next place">›</button>
    {"".join(f'<button type="button" data-part="is_{f}">{FINISH_WORDS[f]}</button>' for f in FINISHES)}
    <button type="button" data-part="leave_out">No gold</button>
  </div>
  <div class="row">{_BARE}</div>
  <div class="row">{_CHIPS}</div>
  <div class="told" data-part="told" role="status"></div>
</div>
"""
_COMPARE = f"""
<div class="photo-view">
  {_canvas("The photo with what was found. Arrow keys move it, plus and minus enlarge it.", "img")}
  <div class="row" role="group" aria-label="View">
    {_BARE}
    {_ZOOM}
  </div>
  <div class="row">{_CHIPS}</div>
</div>
"""
_MARK = f"""
<div class="photo-view">
  <div class="text one" data-part="told" role="status"></div>
  {_canvas("The photo. Arrow keys move it or the chosen point, plus and minus enlarge, Enter sets.")}
  <div class="row" data-part="points" role="group" aria-label="Points to mark"></div>
  <div class="row" role="group" aria-label="View">
    {_ZOOM}
    <button type="button" data-part="clear">Remove all points</button>
  </div>
</div>
"""


def _read(*names: str) -> str:
    folder = resources.files("app.photo_view").joinpath("web")
    return "\n".join(folder.joinpath(name).read_text("utf-8") for name in names)


photo_correct = st.components.v2.component(
    "photo_correct", html=_CORRECT, css=_read("view.css"), js=_read("view.js", "overlay.js", "correct.js")
)
photo_mark = st.components.v2.component(
    "photo_mark", html=_MARK, css=_read("view.css"), js=_read("view.js", "mark.js")
)
photo_compare = st.components.v2.component(
    "photo_compare", html=_COMPARE, css=_read("view.css"), js=_read("view.js", "compare.js")
)
