"""The page's entry: ``streamlit run main.py -- --log FILE``."""

from __future__ import annotations

import numpy as np
import streamlit as st
from PIL import Image

from app.common.show import problem, style
from app.common.trouble import telling
from app.lots.desk import sit_down, stand_up
from app.lots.several_windows import show_damaged, show_what_others_did, watch
from app.lots.way import link
from app.measure.correct_form import settle_corrections
from calibration.errors import DataFileError, GraderError

PAGES = {
    "start/page.py": ("Start", ":material/home:"),
    "measure/page.py": ("Measure", ":material/straighten:"),
    "value/page.py": ("Value", ":material/sell:"),
    "bench/page.py": ("Bench", ":material/content_cut:"),
    "log/page.py": ("Lots", ":material/inventory_2:"),
    "learn/page.py": ("Learn", ":material/school:"),
}


def _icon() -> Image.Image:
    """A gold contact on a green board; a named icon would be fetched from the network."""
    picture = np.full((32, 32, 3), (22, 92, 60), np.uint8)
    picture[6:, 11:21] = (214, 170, 70)
    return Image.fromarray(picture)


def main() -> None:
    """Draw the links to the pages, then the page that was asked for."""
    st.set_page_config(page_title="Gold on boards", page_icon=_icon(), layout="centered")
    style()
    chosen = st.navigation(
        [
            st.Page(file, title=title, icon=icon, url_path=title.lower(), default=title == "Start")
            for file, (title, icon) in PAGES.items()
        ],
        position="hidden",  # the sidebar hides the pages behind a menu on a phone
    )
    try:
        sit_down()
    except DataFileError as error:
        show_damaged(error)
        return
    telling(settle_corrections)()
    with st.container(horizontal=True, key="pages"):
        for file, (title, _) in PAGES.items():
            link(file, title)
    try:
        show_what_others_did()
        watch()
        chosen.run()
    except GraderError as error:
        problem(error)
    finally:
        _keep()


def _keep() -> None:
    try:
        stand_up()
    except GraderError as error:
        problem(error)


if __name__ == "__main__":
    main()
