"""Value: the price on the page is the price of the valuation."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from html import escape
from pathlib import Path
from typing import Any

import pytest

from app.lots.lot_folder import LotFolder
from app.lots.report import report_of
from app.lots.shelf import Kept
from calibration.kinds import KINDS_OF_BOARDS
from grader.bid import bid_for
from grader.log import NewLot, NewPurchase, open_log, photo_of
from grader.lot import estimate_lot, one_part
from grader.measured import usable
from grader.report.lot_html import lot_html
from grader.samples import Sample
from grader.valuation import (
    CAUTION,
    VISIBLE_PLATING_ONLY,
    SaleTexts,
    load_assumptions,
    with_given,
)
from grader.valuation.words import (
    break_even_words,
    highest_words,
    lot_rows,
    over_many_words,
    question_rows,
    route_rows,
)
from tests.app.valuing import GO, describe, expected


def test_without_a_measurement_it_says_what_to_do(page: Any) -> None:
    page.go("value/page.py")
    assert any("Save the seller's pictures" in text for text in page.told("markdown"))
    assert not page.at.metric


def test_no_gold_price_is_assumed(value_page: Any) -> None:
    value_page.press(GO)
    assert not value_page.at.metric
    assert any("none is assumed" in text for text in value_page.told("info"))


def test_the_price_is_that_of_the_valuation(value_page: Any, measured: Kept) -> None:
    describe(value_page, "4000")
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.type("Asking price, if there is one", "400 USD")
    value_page.type("Share of the gold price that your buyer pays", "90 %")
    value_page.at.text_area(key="costs").set_value("refining = 20 USD\nshipping = 15 USD")
    value_page.press(GO)
    offer = expected(
        measured,
        "4000",
        spot="2650 USD/ozt",
        payable="90 %",
        costs=["refining = 20 USD", "shipping = 15 USD"],
        asking="400 USD",
    )
    assert offer.highest.price > 0
    assert offer.asking is not None
    figures = value_page.figures()
    assert figures["Highest price worth paying"] == highest_words(offer)
    assert figures["Break-even price (no profit on average)"] == break_even_words(offer)
    assert "Chance of a loss at 400.00 USD" in figures
    html = value_page.html()
    for row in (*route_rows(offer), *question_rows(offer)[:3], *lot_rows(offer)):
        assert all(escape(cell) in html for cell in row)
    for notice in offer.notices:
        assert any(text.startswith(notice.message) for text in value_page.told("warning"))
    assert any(CAUTION in text for text in value_page.told("markdown"))
    assert any(VISIBLE_PLATING_ONLY in text for text in value_page.told("markdown"))


def test_what_is_known_of_the_plating_moves_the_price(value_page: Any, measured: Kept) -> None:
    describe(value_page, "4000")
    value_page.type("Gold price today", "2650 USD/ozt")
    said = {"kind": "memory", "designs": "many", "picked": "mine"}
    for name, answer in said.items():
        value_page.at.selectbox(key=f"{name}-the boards").set_value(answer)
    value_page.at.text_area(key="plating-the boards").set_value("xrf 0.7 um\nstated 30 uin")
    value_page.press(GO)
    found = usable([(measured.name, measured.measured)])
    known = {**said, "thickness": ("xrf 0.7 um", "stated 30 uin")}
    estimate = estimate_lot(one_part(found, boards=[4], count="4000", **known))  # type: ignore[arg-type]
    figures = with_given(load_assumptions(), spot_date=date.today(), spot="2650 USD/ozt")
    offer = bid_for(estimate, figures, today=date.today())
    assert value_page.figures()["Highest price worth paying"] == highest_words(offer)
    # a line that cannot be read is told of
    value_page.at.text_area(key="plating-the boards").set_value("30 uin")
    value_page.press(GO)
    assert any("cannot be read as something known of the plating" in text for text in value_page.told("error"))


def test_the_kind_of_boards_is_asked_in_the_card_and_each_shows_its_bid(value_page: Any, measured: Kept) -> None:
    describe(value_page, "4000")
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)  # sold by weight, whatever they are
    assert any("hardly changes the bid" in text for text in value_page.told("markdown"))
    value_page.type("What an hour of yours is worth", "0 USD/h")
    value_page.type("Price for the boards as they are", "0.01 USD/kg")
    value_page.at.text_area(key="costs").set_value("refining = 0 USD")
    value_page.at.selectbox(key="face-the boards").set_value("alike")
    value_page.press(GO)
    assert any("First: what kind of boards are these?" in text for text in value_page.told("markdown"))
    bids = {b.key: b.label for b in value_page.at.button if str(b.key).startswith("desk-kind-")}
    assert len(bids) == len(KINDS_OF_BOARDS) - 1
    value_page.at.button(key="desk-kind-the boards-old-one").click()
    value_page.run()
    assert value_page.at.selectbox(key="kind-the boards").value == "old"
    found = usable([(measured.name, measured.measured)])
    known = {"kind": "old", "designs": "one", "other_face": "alike"}
    estimate = estimate_lot(one_part(found, boards=[4], count="4000", **known))  # type: ignore[arg-type]
    sales = {"whole": SaleTexts("0.01 USD/kg")}
    given = {"rate": "0 USD/h", "costs": ["refining = 0 USD"], "sales": sales}
    figures = with_given(load_assumptions(), spot_date=date.today(), spot="2650 USD/ozt", **given)  # type: ignore[arg-type]
    offer = bid_for(estimate, figures, today=date.today())
    assert value_page.figures()["Highest price worth paying"] == highest_words(offer)
    # what the button said before is near what the bid is then
    told = float(bids["desk-kind-the boards-old-one"].replace("\\", "").split("about ")[-1].split(" ")[0])
    assert told == pytest.approx(offer.highest.price, rel=0.03)
    said = value_page.told("markdown")
    assert any("Taken to be boards from before about 1990, one design" in text for text in said)


def test_losses_over_a_month_count_what_the_log_has(value_page: Any, log_file: Path) -> None:
    describe(value_page, "4000")
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)
    alone = value_page.figures()["Highest price worth paying"]
    curve = [{"price": 0.0, "chance_of_loss": 0.0}, {"price": 100.0, "chance_of_loss": 0.04}]
    with open_log(log_file) as log:
        lot = log.add_lot(NewLot(name="Box"))
        log.add_offer(lot.id, {"currency": "USD", "curve": curve})
        log.add_purchase(lot.id, NewPurchase(price=Decimal(50), currency="USD", bought_on=date.today()))
    value_page.at.selectbox(key="loss-over").set_value("over all lots of a month")
    value_page.press(GO)
    assert any("as the log has them: 2 %" in text.replace("\\", "") for text in value_page.told("markdown"))
    offer = value_page.at.session_state["desk-offer"][1]
    assert offer.assumptions.earlier_bids == (0.02,)  # half way between 0 and 4 % at half the price
    assert offer.assumptions.accepted_here == pytest.approx(2 * offer.assumptions.accepted_loss - 0.02)
    value_page.type("Chances of a loss of this month's earlier bids", "15 %, 5 %")
    value_page.press(GO)
    assert value_page.at.session_state["desk-offer"][1].assumptions.earlier_bids == (0.15, 0.05)
    value_page.at.selectbox(key="loss-over").set_value("for each lot")
    value_page.press(GO)
    assert value_page.figures()["Highest price worth paying"] == alone


def test_where_one_lot_is_worth_no_bid_the_price_over_many_stands_in_the_card(
    value_page: Any, measured: Kept
) -> None:
    describe(value_page, "500")
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)
    estimate = estimate_lot(one_part(usable([(measured.name, measured.measured)]), boards=[4], count="500"))
    figures = with_given(load_assumptions(), spot_date=date.today(), spot="2650 USD/ozt")
    offer = bid_for(estimate, figures, today=date.today())
    assert offer.reason is not None
    assert offer.over_many.at.price > 0
    assert over_many_words(offer) in value_page.html()


def test_even_a_gift_that_loses_is_worth_nothing_and_says_why(value_page: Any) -> None:
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)
    assert value_page.figures()["Highest price worth paying"] == "0.00 USD"
    assert any("Even for nothing" in text for text in value_page.told("warning"))


def test_a_lot_of_the_log_is_valued_and_its_offer_kept(page: Any, measured: Kept, log_file: Path) -> None:
    with open_log(log_file) as log:
        lot = log.add_lot(NewLot(name="Shelf 3"))
        document = measured.measured.to_dict()
        log.add_estimates(lot.id, [(photo_of(document), document)])
    page.go("value/page.py")
    page.at.radio(key="value-what").set_value("A lot in the log")
    page.run()
    describe(page, "4000")
    page.type("Gold price today", "2650 USD/ozt")
    page.press(GO)
    offer = expected(measured, "4000", spot="2650 USD/ozt")
    assert page.figures()["Highest price worth paying"] == highest_words(offer)
    page.press("Keep this offer in lot Shelf 3")
    assert any("Shelf 3" in text for text in page.told("success"))
    with open_log(log_file) as log:
        (kept,) = log.entries("Shelf 3").offers
    assert kept.document["highest_price"]["price"] == pytest.approx(offer.highest.price)


def test_photos_and_their_offer_are_kept_together(value_page: Any, measured: Kept, log_file: Path) -> None:
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)
    value_page.type("Name of the lot", "Bench")
    value_page.press("Keep this lot")
    with open_log(log_file) as log:
        contents = log.entries("Bench")
    assert [e.measured for e in contents.estimates] == [measured.measured]
    assert len(contents.offers) == 1


def test_the_report_of_a_valued_lot_can_be_taken_along(value_page: Any) -> None:
    value_page.type("Gold price today", "2650 USD/ozt")
    value_page.press(GO)
    labels = {e.proto.label for e in value_page.at.get("download_button")}
    assert labels >= {"Report (PDF)", "Report (HTML)", "Figures (CSV)", "Figures (JSON)"}


def test_the_report_says_what_the_offer_says(measured: Kept, sample: Sample, tmp_path: Path) -> None:
    offer = expected(measured, "4000", spot="2650 USD/ozt")
    lot = LotFolder(tmp_path / "lot")
    lot.hand_in(measured.name, sample.path.read_bytes())
    made = report_of("Shelf 3", [measured.measured], offer, lot)
    assert made.photos[0].picture is not None
    html = lot_html(made)
    assert "Shelf 3" in html
    assert highest_words(offer) in html
    gone = report_of("Shelf 3", [measured.measured], offer, LotFolder(tmp_path / "other"))
    assert gone.photos[0].picture is None
    assert gone.as_json()["offer"] == offer.as_json()


def test_no_question_is_worth_less_than_a_hundredth_of_the_bid(measured: Kept) -> None:
    offer = expected(measured, "4000", spot="2650 USD/ozt", asking="100 USD")
    least = 0.01 * offer.highest.price
    asked = [q for q in offer.questions if q.text in dict(question_rows(offer))]
    assert asked
    assert all(q.worth >= least for q in asked)
    assert any(q.worth < least for q in offer.questions)
