"""The lot's report to download: on paper, as a page, as data. It is made when its button is pressed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

import streamlit as st

from app.lots.lot_folder import LotFolder
from calibration.errors import PhotoError
from grader.measured import Measured
from grader.photo import load_photo
from grader.report.blocks import Picture
from grader.report.lot_files import ReportKind, report_file
from grader.report.lot_report import LotReport, ReportedCuts, ReportedPhoto, reported_picture
from grader.valuation import Offer

Document = Mapping[str, Any]


@dataclass(frozen=True)
class BenchPlans:
    """The plans of the bench; ``batch`` is None if no board is to be processed."""

    cuts: tuple[ReportedCuts, ...] = ()
    batch: Document | None = None


NO_PLANS = BenchPlans()


def report_downloads(report: Callable[[LotFolder | None], LotReport], lot: LotFolder) -> None:
    """Draw the buttons for a lot's report.

    Args:
        report: makes the report; with pictures if it is given a folder that holds the photos.
        lot: the folder that may hold them.
    """

    def make(kind: ReportKind, photos: LotFolder | None) -> bytes:
        return report_file(report(photos), kind)

    kinds: tuple[tuple[str, ReportKind, LotFolder | None, str], ...] = (
        ("Report (PDF)", "pdf", lot, "application/pdf"),
        ("Report (HTML)", "html", lot, "text/html"),
        ("Figures (CSV)", "csv", None, "text/csv"),
        ("Figures (JSON)", "json", None, "application/json"),
    )
    with st.container(horizontal=True):
        for label, kind, photos, mime in kinds:
            data = partial(make, kind, photos)
            st.download_button(label, data, file_name=f"report.{kind}", mime=mime, on_click="ignore")


def report_of(
    title: str, measured: Sequence[Measured], offer: Offer, lot: LotFolder | None, plans: BenchPlans = NO_PLANS
) -> LotReport:
    """The report of a valued lot; with pictures if a folder is given that holds the photos."""
    photos = reported_photos(measured, lot)
    return LotReport(title, date.today(), photos, offer.gold_mg, offer.lot, offer, cuts=plans.cuts, batch=plans.batch)


def reported_photos(measured: Sequence[Measured], lot: LotFolder | None) -> tuple[ReportedPhoto, ...]:
    """Measured photos, with pictures if a folder is given that holds them."""
    return tuple(ReportedPhoto(m, None if lot is None else _picture(m, lot)) for m in measured)


def _picture(measured: Measured, lot: LotFolder) -> Picture | None:
    """The photo with the findings; None if it is no longer here."""
    data = lot.photo(measured.sha256)
    if data is None:
        return None
    try:
        return reported_picture(measured, load_photo(data, measured.photo).rgb)
    except PhotoError:
        return None
