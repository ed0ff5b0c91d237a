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
_CANVAS = """
<canvas data-part="photo" tabindex="0" role="application" aria-label="{label}"></canvas>
"""
_CHIPS = "".join(
    f'<span><span class="chip {FINISH_HATCH[f]}" style="background-color:rgb{FINISH_RGB[f]}"></span>'
    f"{FINISH_WORDS[f]}</span>"
    for f in FINISHES
)
_CORRECT = f"""
<div class="photo-view">
  <div class="row" role="group" aria-label="What a touch does">
    <button type="button" data-part="look">Look and choose</button>
    <button type="button" data-part="paint_in">Paint in</button>
    <button type="button" data-part="paint_out">Paint out</button>
    <button type="button" data-part="undo">Undo</button>
    <button type="button" data-part="redo">Redo</button>
  </div>
  {_CANVAS.format(label="The photo. Arrow keys move it, plus and minus enlarge it, Enter acts on its middle.")}
  <div class="row" data-part="chosen_row" role="group" aria-label="The chosen region">
    <span class="text" data-part="chosen" role="status"></span>
    <button type="button" data-part="previous" aria-label="Previous region">‹</button>
    <button type="button" data-part="next" aria-label="Next region">›</button>
    {"".join(f'<button type="button" data-part="is_{f}">{FINISH_WORDS[f]}</button>' for f in FINISHES)}
    <button type="button" data-part="leave_out">No gold: leave out</button>
  </div>
  <div class="row" data-part="finish_row">
    <label>What is painted in is
      <select data-part="paint_finish">
        {"".join(f'<option value="{f}">{FINISH_WORDS[f]}</option>' for f in reversed(FINISHES))}
      </select>
    </label>
  </div>
  <div class="row" data-part="brush_row">
    <label>Brush <input type="range" data-part="brush" min="0" max="100" aria-label="Width of the brush">
      <output data-part="brush_size"></output></label>
  </div>
  <div class="row" role="group" aria-label="View">
    {_ZOOM}
    <label>Overlay <input type="range" data-part="strength" min="0" max="100" value="70"
      aria-label="Strength of the overlay"></label>
  </div>
  <div class="row">{_CHIPS}</div>
  <div class="told" data-part="told" role="status"></div>
</div>
"""
_MARK = f"""
<div class="photo-view">
  <div class="text one" data-part="told" role="status"></div>
  {_CANVAS.format(label="The photo. Arrow keys move it or the chosen point, plus and minus enlarge, Enter sets.")}
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
