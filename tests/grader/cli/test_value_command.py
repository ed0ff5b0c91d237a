"""``grader value`` as a buyer uses it."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration.errors import GraderError
from grader.cli.output import advice_of
from grader.log import NewLot, PhotoRecord, open_log
from grader.lot import estimate_lot, one_part
from grader.measured import read_measurements
from grader.valuation import CAUTION, VISIBLE_PLATING_ONLY, load_assumptions, value_lot, with_given
from tests.grader.cli.value_command import PRICE, RUNNER, app, refused, run


def test_price_odds_warnings_and_cautions_are_all_in_sight(photo: Path, tmp_path: Path) -> None:
    out = tmp_path / "offer.json"
    text = run(photo, *PRICE, "--cost", "refining = 10..20..40 USD", "--asking", "60 USD", "--json", out)
    offer = value_lot(
        estimate_lot(one_part(read_measurements([photo]))).gold_mg,
        with_given(
            load_assumptions(), spot="2650 USD/ozt", spot_date=date.today(), costs=["refining = 10..20..40 USD"]
        ),
        today=date.today(),
    )
    assert offer.highest.price > 0
    assert (
        f"Highest price worth paying: {offer.highest_price}, to strip and refine (you accept a 10 % chance of a loss)"
        in text
    )
    written = json.loads(out.read_text("utf-8"))
    highest = written["highest_price"]
    assert highest == {
        **offer.highest.as_json(),
        "route": "strip",
        "title": "strip and refine",
        "per_kg": None,
        "per_lb": None,
        "per_board": offer.highest.price,
    }
    chance = written["asking_price"]["chance_of_loss"]
    assert "At the asking price of 60.00 USD: strip and refine Expected profit" in text
    assert f"Chance of a loss {chance * 100:.0f} %" in text
    for words in ("2650 USD/ozt", "refining", "thickness", "Hold it level.", VISIBLE_PLATING_ONLY, CAUTION):
        assert words in text
    assert "shipped examples" in text  # recovery and payable still are


def test_a_price_without_a_day_is_todays(photo: Path) -> None:
    assert run(photo, *PRICE[:2]) == run(photo, *PRICE)
    assert f"gold price of {date.today()}" in run(photo, *PRICE[:2])


def test_a_price_of_last_month_is_warned_of(photo: Path) -> None:
    then = date.today() - timedelta(days=30)
    text = run(photo, "--spot", "2650 USD/ozt", "--spot-date", then)
    assert f"The gold price is from {then}, 30 days before" in text


def test_where_even_a_gift_loses_the_reason_is_given(photo: Path) -> None:
    text = run(photo, *PRICE, "--cost", "500 USD")
    assert "Highest price worth paying: 0.00 USD" in text
    assert "Even for nothing this lot would lose money in" in text
    assert VISIBLE_PLATING_ONLY in text


def test_a_count_raises_the_gold_and_says_what_was_not_seen(photo: Path, tmp_path: Path) -> None:
    one, ten = tmp_path / "one.json", tmp_path / "ten.json"
    run(photo, *PRICE, "--json", one)
    said = run(photo, *PRICE, "--boards", "1", "--count", "10", "--json", ten)
    assert "Of the boards, 1 of about 10 boards were photographed" in said
    gold = [json.loads(p.read_text("utf-8"))["gold_mg"]["value"] for p in (one, ten)]
    estimated = estimate_lot(one_part(read_measurements([photo]), boards=[1], count="10")).gold_mg.draws()
    assert gold[1] == pytest.approx(np.median(estimated))
    # nobody said who chose the board shown: the nine others hold (0.6 + 1 + 1) / 3 of it on average
    expected = (1 + 9 * (0.6 + 1 + 1) / 3) * gold[0] * np.exp(0.4**2 / 2)
    assert np.mean(estimated) == pytest.approx(expected, rel=0.02)
    assert json.loads(ten.read_text("utf-8"))["lot"][0]["boards"] == 10


def test_what_is_known_of_the_boards_is_told_by_options(photo: Path, tmp_path: Path) -> None:
    document = tmp_path / "offer.json"
    lot = ("--boards", "1", "--count", "10", "--kind", "memory modules", "--designs", "many", "--picked", "mine")
    run(photo, *PRICE, *lot, "--thickness", "stated 30 uin", "--thickness", "xrf 0.7 um", "--json", document)
    (part,) = json.loads(document.read_text("utf-8"))["lot"]
    assert (part["kind"], part["designs"], part["picked"]) == ("memory", "many", "mine")
    assert part["evidence"] == ["stated 30 uin", "xrf 0.7 um"]


@pytest.mark.parametrize(
    ("option", "code"),
    [
        (("--kind", "toasters"), "kind-unknown"),
        (("--designs", "three"), "designs-unknown"),
        (("--picked", "somebody"), "picked-unknown"),
        (("--thickness", "30 uin"), "evidence-unreadable"),
    ],
)
def test_what_cannot_be_read_of_the_boards_is_refused(photo: Path, option: tuple[str, str], code: str) -> None:
    with pytest.raises(GraderError) as caught:
        RUNNER.invoke(app, [str(photo), *PRICE, *option], catch_exceptions=False)
    assert caught.value.code == code


def test_own_assumptions_carry_no_example_warning(photo: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text(RUNNER.invoke(app, ["--example"]).output, "utf-8")
    assert "shipped examples" not in run(photo, *PRICE, "--assumptions", mine)


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        ((*PRICE, "--payable", "250 %"), "share-out-of-range", ("payable", "250 %", "100 %")),
        ((*PRICE, "--recovery", "30 mic"), "quantity-unreadable", ("recovery", "30 mic")),
        ((*PRICE, "--asking", "-5 USD"), "money-negative", ("asking price", "-5 USD")),
        ((*PRICE, "--asking", "120 EUR"), "currencies-differ", ("EUR", "USD")),
        ((*PRICE, "--cost", "12"), "currency-missing", ("cost 1",)),
        ((*PRICE, "--accept-loss", "90 %"), "accepted-loss-out-of-range", ("50 %",)),
        ((*PRICE, "--count", "3", "--boards", "4"), "count-below-seen", ("4 boards", "3")),
        ((*PRICE, "--count", "lots"), "count-unreadable", ("lots", "30")),
        ((*PRICE, "--mass", "5"), "unit-missing", ("mass", "'5'")),
        ((*PRICE, "--mass", "5 kg"), "outline-missing", ("Weigh",)),
        ((*PRICE, "--other-face", "no"), "other-face-unknown", ("alike",)),
        ((*PRICE, "--count", "3", "--parts", "lot.toml"), "parts-and-options", ("or",)),
        (("--spot", "-2650 USD/ozt", "--spot-date", "today"), "price-not-positive", ("gold price",)),
        (("--spot", "30 mic", "--spot-date", "today"), "currency-unknown", ("mic", "USD/ozt")),
        (("--spot", "85 EUR/g", "--spot-date", "today"), "example-costs-currency", ("--cost",)),
        (("--spot", "2650 USD/ozt", "--spot-date", "20/11/2026"), "date-unreadable", ("2026-11-20",)),
        ((), "spot-missing", ("--spot",)),
    ],
)
def test_wrong_use_says_what_to_do(
    photo: Path, arguments: tuple[str, ...], code: str, words: tuple[str, ...]
) -> None:
    error = refused(photo, *arguments)
    assert error.code == code
    said = f"{error.message} {advice_of(error)}"
    assert all(word in said for word in words), said


def test_wrong_use_writes_nothing(photo: Path, tmp_path: Path) -> None:
    refused(photo, *PRICE, "--payable", "250 %", "--json", tmp_path / "offer.json")
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]


def test_measurements_that_are_none(photo: Path, tmp_path: Path) -> None:
    assert refused(*PRICE).code == "measurements-none"
    assert refused(photo, photo, *PRICE).code == "photo-twice"
    assert refused(tmp_path / "gone.json", *PRICE).code == "measurement-unreadable"
    no_scale = tmp_path / "b.json"
    no_scale.write_text('{"schema": 1, "photo": "b.jpg", "scale": {"method": "none"}}', "utf-8")
    error = refused(no_scale, *PRICE)
    assert error.code == "measurement-without-scale"
    assert "b.jpg" in error.message


@pytest.fixture
def log(photo: Path, tmp_path: Path) -> Path:
    """A log with one lot, whose photo was measured twice, and an empty lot."""
    path = tmp_path / "log.sqlite"
    document = json.loads(photo.read_text("utf-8"))
    worse = json.loads(json.dumps(document).replace("2000.0", "9000.0"))
    record = PhotoRecord(sha256="ab" * 32, name="a.jpg", width_px=40, height_px=30)
    with open_log(path) as opened:
        opened.add_lot(NewLot(name="crate"))
        opened.add_estimates("crate", [(record, worse), (record, document)])
        opened.add_lot(NewLot(name="empty"))
    return path


def test_a_lot_of_the_log_is_valued_by_the_last_estimate_of_each_photo(
    photo: Path, log: Path, tmp_path: Path
) -> None:
    by_file, by_lot = tmp_path / "file.json", tmp_path / "lot.json"
    run(photo, *PRICE, "--json", by_file)
    run("--lot", "crate", "--log", log, *PRICE, "--json", by_lot)
    assert json.loads(by_lot.read_text("utf-8")) == json.loads(by_file.read_text("utf-8"))
    with open_log(log) as opened:
        assert opened.entries("crate").offers == ()


def test_an_offer_is_kept_where_it_is_asked_for(log: Path, tmp_path: Path) -> None:
    out = tmp_path / "offer.json"
    run("--lot", "crate", "--log", log, "--save", *PRICE, "--json", out)
    with open_log(log) as opened:
        kept = opened.entries("crate").offers
    assert [o.document for o in kept] == [json.loads(out.read_text("utf-8"))]


def test_lots_that_cannot_be_valued(photo: Path, log: Path, tmp_path: Path) -> None:
    assert refused("--lot", "nowhere", "--log", log, *PRICE).code == "lot-unknown"
    assert refused("--lot", "empty", "--log", log, *PRICE).code == "measurements-none"
    assert refused(photo, "--lot", "crate", "--log", log, *PRICE).code == "two-sources"
    assert refused(photo, "--save", *PRICE).code == "save-without-lot"
    gone = tmp_path / "gone.sqlite"
    assert refused("--lot", "crate", "--log", gone, *PRICE).code == "log-missing"
    assert not gone.exists()


@pytest.mark.parametrize(
    ("options", "code", "word"),
    [
        (("--spot", "85 USD/ozt", "--spot-date", "today"), "gold-price-doubtful", "85 USD/g"),
        (("--spot", "2650 USD/g", "--spot-date", "today"), "gold-price-doubtful", "2650 USD/ozt"),
        (("--spot", "2.6500 USD/ozt", "--spot-date", "today"), "gold-price-doubtful", "2650 USD/ozt"),
        ((*PRICE, "--boards", "4", "--mass", "1e9 kg", "--weighed", "72 g"), "lot-mass-doubtful", "truck"),
        ((*PRICE, "--boards", "10000000", "--weighed", "1 kg"), "boards-doubtful", "10,000,000"),
        ((*PRICE, "--asking", "9000000 USD"), "asking-price-doubtful", "9,000,000 USD"),
    ],
)
def test_a_doubtful_figure_is_refused_in_a_script_and_taken_with_yes(
    photo: Path, options: tuple[str, ...], code: str, word: str
) -> None:
    refused = RUNNER.invoke(app, [str(photo), *options])
    assert isinstance(refused.exception, GraderError)
    assert refused.exception.code == code
    assert word in str(refused.exception)
    assert "--yes" in refused.exception.advice
    taken = RUNNER.invoke(app, [str(photo), *options, "--yes", "--json", "-"], catch_exceptions=False)
    assert taken.exit_code == 0
    assert json.loads(taken.stdout)["currency"] == "USD"


@pytest.mark.parametrize(("answer", "goes_on"), [(True, True), (False, False)])
def test_on_a_terminal_a_doubtful_figure_is_asked_back(
    photo: Path, monkeypatch: pytest.MonkeyPatch, answer: bool, goes_on: bool
) -> None:
    asked = []

    def confirm(text: str, **_: Any) -> bool:
        asked.append(text)
        return answer

    monkeypatch.setattr("grader.cli.questions._somebody_is_there", lambda: True)
    monkeypatch.setattr("grader.cli.questions.typer.confirm", confirm)
    result = RUNNER.invoke(app, [str(photo), "--spot", "85 USD/ozt", "--spot-date", "today"])
    assert len(asked) == 1
    assert (result.exception is None) == goes_on
    assert "Did you mean 85 USD/g?" in result.output


def test_boards_that_outlines_tell_of_are_named_with_their_range_or_asked_for(photo: Path) -> None:
    document = json.loads(photo.read_text("utf-8"))

    def said(chances: dict[str, float], *more: str) -> Any:
        photo.write_text(json.dumps({**document, "board_count": {"chances": chances}}), "utf-8")
        return RUNNER.invoke(app, [str(photo), "--count", "400", *PRICE, *more])

    sure, heap = {"4": 0.2, "5": 0.6, "6": 0.2}, {"2": 0.3, "3": 0.4, "5": 0.3}
    assert "5 (4 to 6)" in said(sure).output
    assert "5 (4 to 6)" not in said(sure, "--boards", "5").output
    asked = said(heap)
    assert isinstance(asked.exception, GraderError)
    assert asked.exception.code == "boards-unsure"
    assert said(heap, "--boards", "3").exit_code == 0


@pytest.mark.parametrize("spot", ["2650", "$2650/oz", "2650 USD", "$2,650"])
def test_what_a_gold_price_leaves_out_is_filled_in_and_told(photo: Path, tmp_path: Path, spot: str) -> None:
    whole, typed = tmp_path / "whole.json", tmp_path / "typed.json"
    run(photo, *PRICE, "--asking", "120 USD", "--json", whole)
    told = run(photo, "--spot", spot, "--spot-date", "today", "--asking", "$120", "--json", typed)
    assert "read as 2650 USD per troy ounce" in told.replace(",", "")
    first, second = (json.loads(p.read_text("utf-8")) for p in (whole, typed))
    assert second["highest_price"] == first["highest_price"]
    assert second["asking_price"] == first["asking_price"]
