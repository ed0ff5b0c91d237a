"""The lot's report to take along: on paper, as a page, as data. It is made when its button is pressed."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import streamlit as st

from app.lots.lot_folder import LotFolder
from calibration.errors import PhotoError
from grader.photo import load_photo
from grader.report.blocks import Picture
from grader.report.lot_csv import lot_csv
from grader.report.lot_html import lot_html
from grader.report.lot_report import LotReport, ReportedCuts, ReportedPhoto, reported_picture
from grader.valuation import Offer

Document = Mapping[str, Any]


@dataclass(frozen=True)
class BenchPlans:
    """What was planned on the bench; ``batch`` is None where no board is to be processed."""

    cuts: tuple[ReportedCuts, ...] = ()
    batch: Document | None = None


NO_PLANS = BenchPlans()


def report_downloads(report: Callable[[LotFolder | None], LotReport], lot: LotFolder) -> None:
    """Buttons for a lot's report.

    Args:
        report: makes it; with pictures where it is given a folder that holds the photos.
        lot: the folder that may hold them.
    """
    with_pictures = partial(report, lot)
    without = partial(report, None)
    kinds = (
        ("Report (PDF)", lambda: _pdf(with_pictures()), "report.pdf", "application/pdf"),
        ("Report (HTML)", lambda: lot_html(with_pictures()), "report.html", "text/html"),
        ("Figures (CSV)", lambda: lot_csv(without()), "report.csv", "text/csv"),
        ("Figures (JSON)", lambda: _json(without()), "report.json", "application/json"),
    )
    with st.container(horizontal=True):
        for label, make, name, mime in kinds:
            st.download_button(label, make, file_name=name, mime=mime, on_click="ignore")


def report_of(
    title: str, documents: Sequence[Document], offer: Offer, lot: LotFolder | None, plans: BenchPlans = NO_PLANS
) -> LotReport:
    """The report of a valued lot; with pictures where a folder is given that holds the photos."""
    photos = reported_photos(documents, lot)
    return LotReport(title, date.today(), photos, offer.gold_mg, offer.lot, offer, cuts=plans.cuts, batch=plans.batch)


def reported_photos(documents: Sequence[Document], lot: LotFolder | None) -> tuple[ReportedPhoto, ...]:
    """Measured photos, with pictures where a folder is given that holds them."""
    return tuple(ReportedPhoto(d, None if lot is None else _picture(d, lot)) for d in documents)


def _picture(document: Document, lot: LotFolder) -> Picture | None:
    """The photo with what was found; None where it is not here any more."""
    data = lot.photo(str(document["sha256"]))
    if data is None:
        return None
    try:
        return reported_picture(document, load_photo(data, str(document["photo"])).rgb)
    except PhotoError:
        return None


def _pdf(report: LotReport) -> bytes:
    from grader.report.lot_pdf import lot_pdf  # its library is only needed here

    return lot_pdf(report)


def _json(report: LotReport) -> str:
    return json.dumps(report.as_json(), ensure_ascii=False, allow_nan=False) + "\n"
