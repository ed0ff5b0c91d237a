"""Valuing from Python: the same offer as by hand and on the command line; wrong figures are told of."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

import grader
from calibration.errors import DataFileError, GraderError, KeywordError, ScaleError, UsageError
from grader.bid import bid_for
from grader.cli.value import value as value_command
from grader.lot import PartText, SightText, estimate_lot, lot_of, one_part
from grader.measured import usable
from grader.valuation import (
    CAUTION,
    VISIBLE_PLATING_ONLY,
    Offer,
    SaleTexts,
    load_assumptions,
    value_lot,
    with_given,
)

SPOT = "2650 USD/ozt"
TYPED: dict[str, Any] = {
    "payable": "95 %",
    "recovery": "85..94..99 %",
    "fee": "5 %",
    "tax": "8.25 %",
    "hours": "2..4 h",
    "rate": "15 USD/h",
    "weeks": "6 weeks",
    "per_gram": "0.5..1 USD",
    "minimum": "10..20 USD",
    "costs": ["purchase: shipping = 8..15 USD", "waste = 5 USD/l x 2..4 l"],
}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tail's exactness is not what these tests are about."""
    monkeypatch.setattr("grader.bid.bid.value_lot", partial(value_lot, draws=2000))


@pytest.fixture(scope="session")
def other(modules: grader.MeasuredPhoto) -> grader.MeasuredPhoto:
    """As if the same boards had been photographed once more."""
    return grader.MeasuredPhoto(modules.record.model_copy(update={"sha256": "b" * 64, "photo": "other.jpg"}))


def by_hand(lot: Any, asking: Any = None, **given: Any) -> Offer:
    figures = with_given(load_assumptions(), spot=SPOT, **{"spot_date": date.today(), **given})
    return bid_for(estimate_lot(lot), figures, today=date.today(), asking=asking)


def measured(*photos: grader.MeasuredPhoto) -> Any:
    return usable((p.name, p.record) for p in photos)


def test_it_is_the_offer_by_hand(modules: grader.MeasuredPhoto) -> None:
    offer = grader.value(modules, boards=4, count=2000, other_face="alike", spot=SPOT, asking="120 USD")
    lot = one_part(measured(modules), boards=[4], count="2000", other_face="alike")
    expected = by_hand(lot, grader.lot_offer.asking_price("120 USD"))
    assert offer.to_dict() == expected.as_json()
    assert {f.name: getattr(offer, f.name) for f in fields(Offer)} == {
        f.name: getattr(expected, f.name) for f in fields(Offer)
    }
    assert (offer.gold.median, offer.gold.unit) == (expected.gold_mg.value, "mg")
    assert str(offer.highest_price) in repr(offer)
    assert offer.estimate.gold_mg == estimate_lot(lot).gold_mg


def test_every_figure_reaches_the_assumptions(modules: grader.MeasuredPhoto) -> None:
    offer = grader.value(
        modules, boards=4, spot=SPOT, spot_date="2026-11-20", trim_price="40..90 USD/kg", trim_share="4..8..15 %",
        whole_price="5..9 USD/kg", accept_loss="20 %", **TYPED,
    )  # fmt: skip
    expected = by_hand(
        one_part(measured(modules), boards=[4]), spot_date=date(2026, 11, 20), accepted_loss="20 %",
        sales={"trim": SaleTexts("40..90 USD/kg", "4..8..15 %"), "whole": SaleTexts("5..9 USD/kg")}, **TYPED,
    )  # fmt: skip
    assert offer.assumptions == expected.assumptions


def test_the_command_line_says_the_same(modules: grader.MeasuredPhoto) -> None:
    modules.save("boards.json")
    costs = [word for cost in TYPED["costs"] for word in ("--cost", cost)]
    plain = {name.replace("_", "-"): text for name, text in TYPED.items() if name != "costs"}
    typed = [*costs, *(word for name, text in plain.items() for word in (f"--{name}", text))]
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(value_command)
    options = [
        "boards.json",
        "--boards",
        "4",
        "--count",
        "400",
        "--spot",
        SPOT,
        "--spot-date",
        "today",
        "--json",
        "-",
    ]
    done = CliRunner().invoke(app, [*options, *typed], catch_exceptions=False)
    offer = grader.value("boards.json", boards=4, count=400, spot=SPOT, **TYPED)
    assert json.loads(done.stdout) == json.loads(json.dumps(offer.to_dict()))


def test_several_photos_and_their_backs(modules: grader.MeasuredPhoto, other: grader.MeasuredPhoto) -> None:
    two = grader.value([modules, other], boards=[4, 3], count="7", spot=SPOT)
    assert two.to_dict() == by_hand(one_part(measured(modules, other), boards=[4, 3], count="7")).as_json()
    backed = grader.value(modules, backs=other, boards=4, spot=SPOT)
    sights = (SightText(modules.record.sha256, "b" * 64, 4),)
    assert backed.to_dict() == by_hand(lot_of([PartText("the boards", sights)], measured(modules, other))).as_json()


def test_parts_as_they_are_or_from_a_file(modules: grader.MeasuredPhoto, other: grader.MeasuredPhoto) -> None:
    parts = [
        PartText("modules", (SightText("memory-modules.jpg", boards=4),), count="400"),
        PartText("others", (SightText("other.jpg", boards=4),), count="20"),
    ]
    Path("parts.toml").write_text(
        '[[part]]\nname = "modules"\ncount = "400"\nphoto = [{ front = "memory-modules.jpg", boards = 4 }]\n'
        '[[part]]\nname = "others"\ncount = "20"\nphoto = [{ front = "other.jpg", boards = 4 }]\n',
        "utf-8",
    )
    offer = grader.value([modules, other], parts=parts, spot=SPOT)
    assert [part["name"] for part in offer.lot] == ["modules", "others"]
    assert grader.value([modules, other], parts="parts.toml", spot=SPOT).to_dict() == offer.to_dict()


def test_the_gold_price_is_todays_unless_its_day_is_said(modules: grader.MeasuredPhoto) -> None:
    codes = [
        {n.code for n in grader.value(modules, boards=4, spot=SPOT, spot_date=day).notices}
        for day in (None, "today", date.today() - timedelta(days=30))
    ]
    assert [("spot-stale" in found) for found in codes] == [False, False, True]


def caught(call: Callable[[], object]) -> GraderError:
    with pytest.raises(GraderError) as error:
        call()
    assert error.value.advice
    return error.value


@pytest.mark.parametrize(
    ("keywords", "kind", "code"),
    [
        ({}, UsageError, "spot-missing"),
        ({"spot": SPOT, "spot_date": "yesterday"}, UsageError, "date-unreadable"),
        ({"spot": SPOT, "fee": 0.05}, UsageError, "unit-missing"),
        ({"spot": SPOT, "mass": "5"}, UsageError, "unit-missing"),
        ({"spot": SPOT, "count": "many"}, UsageError, "count-unreadable"),
        ({"spot": SPOT, "boards": "4"}, UsageError, "boards-invalid"),
        ({"spot": SPOT, "boards": [4, 4]}, UsageError, "boards-per-photo"),
        ({"spot": SPOT, "other_face": "shiny"}, UsageError, "other-face-unknown"),
        ({"spot": SPOT, "asking": "120 EUR"}, UsageError, "currencies-differ"),
        ({"spot": SPOT, "costs": "12"}, UsageError, "currency-missing"),
        ({"spot": SPOT, "assumptions": "no-such-set"}, UsageError, "assumptions-unknown"),
        ({"spot": SPOT, "parts": "no-such.toml"}, DataFileError, "parts-unreadable"),
        ({"spot": SPOT, "parts": "parts.toml", "count": 3}, UsageError, "parts-and-options"),
        ({"spot": SPOT, "bords": 4}, KeywordError, "keyword-unknown"),
        ({"spot": SPOT, "hours": ["2 h"]}, UsageError, "keyword-not-text"),
    ],
)
def test_wrong_keywords(
    modules: grader.MeasuredPhoto, keywords: dict[str, Any], kind: type[GraderError], code: str
) -> None:
    error = caught(lambda: grader.value(modules, **keywords))
    assert isinstance(error, kind)
    assert error.code == code


def test_what_is_not_a_measurement(unscaled: grader.MeasuredPhoto) -> None:
    assert isinstance(caught(lambda: grader.value(unscaled, spot=SPOT)), ScaleError)
    assert caught(lambda: grader.value([], spot=SPOT)).code == "measurements-none"
    assert caught(lambda: grader.value(3, spot=SPOT)).code == "measurement-unknown-kind"  # type: ignore[arg-type]
    assert caught(lambda: grader.value("no-such.json", spot=SPOT)).code == "measurement-unreadable"


def test_a_figure_that_looks_wrong_is_refused_unless_it_is_meant(modules: grader.MeasuredPhoto) -> None:
    error = caught(lambda: grader.value(modules, boards=4, spot="2650 USD/g"))
    assert error.code == "gold-price-doubtful"
    assert "take_as_is=True" in error.advice
    assert grader.value(modules, boards=4, count=400, spot="2650 USD/g", take_as_is=True).break_even > 0


@pytest.mark.parametrize("kind", ["pdf", "html", "csv", "json"])
def test_the_report_is_written_as_its_name_ends(modules: grader.MeasuredPhoto, kind: str) -> None:
    offer = grader.value(modules, boards=4, spot=SPOT)
    offer.save_report(f"report.{kind}", title="Attic lot")
    written = Path(f"report.{kind}").read_bytes()
    if kind == "pdf":
        assert written.startswith(b"%PDF-")
    else:
        assert b"Attic lot" in written
        assert b"memory-modules.jpg" in written
    assert (b"data:image/jpeg" in written) == (kind == "html")


def test_no_report_of_another_kind(modules: grader.MeasuredPhoto) -> None:
    offer = grader.value(modules, boards=4, spot=SPOT)
    assert caught(lambda: offer.save_report("report.docx")).code == "report-kind-unknown"
    assert not Path("report.docx").exists()


def test_tables_and_charts(modules: grader.MeasuredPhoto) -> None:
    offer = grader.value(modules, boards=4, count=2000, spot=SPOT, asking="120 USD")
    assert offer.to_frame().to_dict("records")[0]["title"] == offer.routes[0].title
    assert offer.rows() == [route.as_json() for route in offer.routes]
    profit, swings = offer.plot().to_dict(), offer.plot_swings()
    drawn = profit["layer"][0]["data"]["values"]
    assert [point["price"] for point in drawn] == [at.price for at in offer.curve]
    assert profit["layer"][-1]["data"]["values"][1] == {"price": 120.0, "what": "asking price"}
    assert swings is not None
    assert swings.to_dict()["layer"][0]["data"]["values"][0]["low"] < 0
    html = offer._repr_html_()
    assert "Highest price worth paying" in html
    assert CAUTION.split(";")[0] in html
    assert VISIBLE_PLATING_ONLY.split(":")[0] in html
