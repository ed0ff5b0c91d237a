"""The page's entry: ``streamlit run main.py -- --log FILE``."""

from __future__ import annotations

import streamlit as st

from app.common.arrive import begin_page, show_arrival
from app.common.name import ICON, NAME, show_name
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
    "sheet/page.py": ("Boards", ":material/grid_view:"),
    "bench/page.py": ("Bench", ":material/content_cut:"),
    "log/page.py": ("Lots", ":material/inventory_2:"),
    "learn/page.py": ("Learn", ":material/school:"),
}

_WITHIN = ("sheet/page.py",)  # reached from another page, with what it is about


def main() -> None:
    """Draw the links to the pages, then the page that was asked for."""
    st.set_page_config(page_title=NAME, page_icon=ICON, layout="centered")
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
    show_name()
    with st.container(horizontal=True, key="pages"):
        for file, (title, _) in PAGES.items():
            if file not in _WITHIN:
                link(file, title)
    begin_page(chosen.url_path)
    try:
        show_what_others_did()
        watch()
        chosen.run()
        show_arrival()
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
