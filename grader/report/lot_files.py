"""A lot's report as a file: for paper, as a page, as a table, as data."""

from __future__ import annotations

import json
from typing import Literal, get_args

from calibration.target import Paper
from grader.report.lot_csv import lot_csv
from grader.report.lot_html import lot_html
from grader.report.lot_report import LotReport

ReportKind = Literal["pdf", "html", "csv", "json"]
REPORT_KINDS: tuple[ReportKind, ...] = get_args(ReportKind)


def report_file(report: LotReport, kind: ReportKind, paper: Paper = "a4") -> bytes:
    """The file's bytes.

    Args:
        report: to be written.
        kind: of file.
        paper: of a PDF.

    Raises:
        DataFileError: ``measurement-invalid``: a measurement or plan is not as it was written.
    """
    match kind:
        case "pdf":
            from grader.report.lot_pdf import lot_pdf  # reportlab is slow to load, and only this needs it

            return lot_pdf(report, paper)
        case "html":
            return lot_html(report).encode()
        case "csv":
            return lot_csv(report).encode()
        case "json":
            return (json.dumps(report.as_json(), ensure_ascii=False, allow_nan=False) + "\n").encode()
