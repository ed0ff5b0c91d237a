"""Exports give back what is in the log."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest

from grader.log import (
    TABLES,
    Attachment,
    BeliefRecord,
    Contents,
    Estimate,
    Exclusion,
    Log,
    LoggedLot,
    LoggedOffer,
    Mark,
    NewAttachment,
    NewExclusion,
    NewLot,
    NewMark,
    NewPurchase,
    NewYield,
    PhotoRecord,
    Purchase,
    Yield,
    YieldLot,
    checked,
    to_csv,
    to_json,
)
from grader.log.export import COLUMNS

MEASURED: dict[str, Any] = {
    "schema": 1,
    "photo": 'a "quoted", name\u2028.jpg',
    "plated_area_mm2": {"value": 425.7, "low": 410.2, "high": 441.9, "level": 0.9},
    "gold_mg": {"value": 5.1, "low": 2.2, "high": 8.0, "level": 0.9},
    "model": {"gold_mg": {"terms": [], "inputs": []}},
}


@pytest.fixture
def contents(log: Log) -> Contents:
    log.add_lot(checked(NewLot, name="Shed", seller='=HYPERLINK("x")', note='comma, quote " and 照'))
    log.add_lot(checked(NewLot, name="Attic"))
    photo = PhotoRecord(
        sha256="ab" * 32, name="a, b.jpg", width_px=4, height_px=3, taken_at=datetime(2026, 1, 2, 3, 4, 5)
    )
    log.add_estimate("Shed", photo, MEASURED)
    log.add_estimate("Attic", photo, {"photo": "a, b.jpg", "gold_mg": None})
    log.add_purchase(
        "Shed", checked(NewPurchase, price="120.50", currency="EUR", mass_g=510.5, bought_on=date(2026, 2, 3))
    )
    log.add_yield(
        "Attic",
        checked(NewYield, mass_mg=0.1, fineness=0.9, fineness_known="found", note="-x", weighed_on=date(2026, 5, 6)),
    )
    log.add_offer("Shed", {"currency": "EUR", "highest_price": {"price": 80.25}})
    log.exclude_yield(1, checked(NewExclusion, reason="wrong lot", who="Ann"))
    log.add_mark(checked(NewMark, kind="process", day=date(2026, 6, 1), note="finer filters"))
    log.attach(1, checked(NewAttachment, sha256="cd" * 32, name="assay.pdf"))
    log.add_belief("key", {"what": "it says"})
    return log.contents()


def test_json_round_trip(contents: Contents):
    data = json.loads(to_json(contents))
    assert set(data) == {"schema", *TABLES}
    moment, day = datetime.fromisoformat, date.fromisoformat

    def back(kind: Any, rows: list[dict[str, Any]], **readers: Any) -> tuple[Any, ...]:
        return tuple(kind(**{**row, **{key: read(row[key]) for key, read in readers.items()}}) for row in rows)

    assert contents == Contents(
        lots=back(LoggedLot, data["lots"], created_at=moment),
        photos=back(PhotoRecord, data["photos"]),
        estimates=back(Estimate, data["estimates"], made_at=moment),
        purchases=back(Purchase, data["purchases"], logged_at=moment, price=Decimal, bought_on=day),
        yields=back(Yield, data["yields"], logged_at=moment, weighed_on=day),
        offers=back(LoggedOffer, data["offers"], made_at=moment),
        yield_lots=back(YieldLot, data["yield_lots"]),
        exclusions=back(Exclusion, data["exclusions"], logged_at=moment),
        marks=back(Mark, data["marks"], logged_at=moment, day=day),
        attachments=back(Attachment, data["attachments"], logged_at=moment),
        beliefs=back(BeliefRecord, data["beliefs"], made_at=moment),
    )
    assert data["purchases"][0]["price"] == "120.50"
    assert data["lots"][0]["created_at"].endswith("Z")


def rows_of(contents: Contents, table: Any) -> list[dict[str, str]]:
    text = to_csv(contents, table)
    assert text.endswith("\r\n")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert all(list(row) == list(COLUMNS[table]) for row in rows)
    return rows


def test_csv_of_each_table(contents: Contents):
    lots = rows_of(contents, "lots")
    assert lots[0]["note"] == 'comma, quote " and 照'
    assert [row["name"] for row in lots] == ["Shed", "Attic"]
    assert rows_of(contents, "photos")[0]["taken_at"] == "2026-01-02T03:04:05"
    measured, empty = rows_of(contents, "estimates")
    assert measured["photo"] == MEASURED["photo"]
    assert (measured["lot"], measured["gold_mg"], measured["gold_mg_low"]) == ("Shed", "5.1", "2.2")
    assert (measured["plated_area_mm2_high"], measured["gold_mg_level"]) == ("441.9", "0.9")
    assert (empty["lot"], empty["gold_mg"], empty["plated_area_mm2"]) == ("Attic", "", "")
    purchase = rows_of(contents, "purchases")[0]
    assert (purchase["lot"], purchase["price"], purchase["currency"]) == ("Shed", "120.50", "EUR")
    assert (purchase["mass_g"], purchase["count"], purchase["bought_on"]) == ("510.5", "", "2026-02-03")
    assert rows_of(contents, "yields")[0]["fineness_known"] == "found"
    offer = rows_of(contents, "offers")[0]
    assert (offer["lot"], offer["highest_price"], offer["currency"]) == ("Shed", "80.25", "EUR")


def test_csv_runs_no_formula_in_a_spreadsheet(contents: Contents):
    assert rows_of(contents, "lots")[0]["seller"] == '\'=HYPERLINK("x")'
    assert rows_of(contents, "yields")[0]["note"] == "'-x"


def test_an_empty_log_still_has_headers(log: Log):
    for table in TABLES:
        assert to_csv(log.contents(), table).strip() == ",".join(COLUMNS[table])
    assert json.loads(to_json(log.contents()))["lots"] == []
