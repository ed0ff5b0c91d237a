"""Boards that nobody counted: their number's doubt is in the range of what a lot holds, or it is asked for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.board_count import BoardCount
from grader.lot import estimate_lot, one_part
from grader.lot.claim import PartText, SightText, lot_of
from grader.measured import Measured
from grader.model import ProductModel
from tests.measured_photos import outlined, photo_with

FIVE = BoardCount.of({4: 0.25, 5: 0.5, 6: 0.25})


def photo(name: str, gold_mg: float, count: BoardCount | None, outlines: int = 5) -> Measured:
    scale = Input.named(f"scale:{name}", "scale", Distribution("constant", (1.0,)), "test")
    gold = ProductModel.of(gold_mg, (scale,))
    found = tuple(outlined(4000.0, gold_mg / outlines) for _ in range(outlines))
    return photo_with(name, gold, boards=found, scale_inputs=(f"scale:{name}",), board_count=count)


def gold(lot: Any, n: int = 100_000) -> np.ndarray:
    return estimate_lot(lot).gold_mg.draws(n)


def others(lot: Any) -> float:
    """Mean of the boards that nobody saw ÷ that of those seen, on average."""
    used = estimate_lot(lot).gold_mg.used_inputs()
    found = [i.draws(100_000).mean() for i in used if i.kind in ("unseen-boards", "picking")]
    return float(np.prod(found))


def test_the_mean_is_over_all_numbers_that_may_be() -> None:
    lot = one_part([photo("a", 60.0, FIVE)], count="300")
    draws = gold(lot)
    by_hand = [p * (60.0 + 60.0 * (300 / n - 1) * others(lot)) for n, p in FIVE.chances]
    # five boards alike: a bare one may be among the others, and nobody said who chose them
    assert 0.95 * (0.6 + 1 + 1) / 3 < others(lot) < (0.6 + 1 + 1) / 3
    assert np.mean(draws) == pytest.approx(sum(by_hand), rel=5e-3)
    assert draws.min() >= 60.0


def test_a_number_that_was_given_is_exact() -> None:
    seen = photo("a", 60.0, FIVE)
    given, guessed = one_part([seen], boards=[5], count="300"), one_part([seen], count="300")
    untold = seen.model_copy(update={"board_count": None})
    assert np.array_equal(gold(given, 1000), gold(one_part([untold], boards=[5], count="300"), 1000))
    assert np.std(np.log(gold(guessed))) > 1.05 * np.std(np.log(gold(given)))
    assert "boards-by-outlines" not in [n.code for n in estimate_lot(given).notices]
    (told,) = [n for n in estimate_lot(guessed).notices if n.code == "boards-by-outlines"]
    assert "5 boards (4 to 6)" in told.message
    assert "Count the boards" in told.advice


def test_a_number_that_is_sure_adds_nothing() -> None:
    seen = photo("a", 60.0, BoardCount.exactly(5))
    assert np.array_equal(
        gold(one_part([seen], count="300"), 1000), gold(one_part([seen], boards=[5], count="300"), 1000)
    )


def test_only_a_count_asks_for_it() -> None:
    heap = photo("a", 60.0, BoardCount.of({2: 0.3, 3: 0.4, 5: 0.3}))
    with pytest.raises(UsageError) as caught:
        gold(one_part([heap], count="300"))
    assert caught.value.code == "boards-unsure"
    assert "2 to 5" in caught.value.message
    assert "Count the boards" in caught.value.advice
    for fine in ({"boards": [3], "count": "300"}, {"mass": "5 kg"}, {}):
        assert gold(one_part([heap], **fine), 100).min() > 0  # type: ignore[arg-type]


def test_no_more_boards_are_seen_than_there_are() -> None:
    lot = one_part([photo("a", 60.0, FIVE)], count="5")
    draws = gold(lot)
    assert draws.min() >= 60.0 - 1e-9
    # four with a chance of a third: the fifth is then like them
    assert np.mean(draws) == pytest.approx(60 * (2 / 3 + (1 + others(lot) / 4) / 3), rel=0.005)
    with pytest.raises(UsageError, match="4 boards were"):
        one_part([photo("a", 60.0, FIVE)], count="3")


def test_numbers_of_two_photos_add_up() -> None:
    photos = [photo("a", 60.0, FIVE), photo("b", 60.0, FIVE)]
    lot = one_part(photos, count="300")
    draws = gold(lot)
    by_hand = [
        p * q * (120.0 + 120.0 * (300 / (m + n) - 1) * others(lot)) for m, p in FIVE.chances for n, q in FIVE.chances
    ]
    assert np.mean(draws) == pytest.approx(sum(by_hand), rel=5e-3)


def test_fronts_and_backs_show_the_same_boards() -> None:
    measured = [photo("a", 60.0, FIVE), photo("b", 30.0, BoardCount.exactly(3))]
    lot = lot_of([PartText("boards", (SightText("a", "b"),), "300")], measured)
    by_hand = [p * (90.0 + 90.0 * (300 / n - 1) * others(lot)) for n, p in FIVE.chances]
    assert np.mean(gold(lot)) == pytest.approx(sum(by_hand), rel=5e-3)


def test_mass_and_gold_of_a_lot_hang_on_the_same_number() -> None:
    estimate = estimate_lot(one_part([photo("a", 60.0, FIVE)], count="300"))
    exact = estimate_lot(one_part([photo("a", 60.0, FIVE)], boards=[5], count="300"))

    def correlated(e: Any) -> float:
        return float(np.corrcoef(np.log(e.gold_mg.draws()), np.log(e.mass_g.draws()))[0, 1])

    assert correlated(estimate) > correlated(exact) + 0.05


def test_the_offer_tells_which_number_was_used() -> None:
    part = estimate_lot(one_part([photo("a", 60.0, FIVE)], count="300")).parts[0].as_json()
    assert (part["boards_seen_low"], part["boards_seen"], part["boards_seen_high"]) == (4, 5, 6)
    assert part["photos"][0]["board_count"]["value"] == 5


def test_an_older_measurement_goes_by_its_outlines() -> None:
    older = photo("a", 60.0, None)
    assert older.likely_boards.value == 5
    assert older.likely_boards.low < 5 < older.likely_boards.high
    assert np.std(np.log(gold(one_part([older], count="300")))) > 0.2
