"""From the log to a lot's gold: what a seller left out before makes his next lot worth less, nobody else's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calibration.distributions import Distribution
from grader.learn import newest
from grader.learn.choice import with_learned_choice
from grader.learn.invented import Invented, invented
from grader.log import Log, open_log, photo_of
from grader.lot import Lot, Part, Sight, estimate_lot
from grader.model import ProductModel
from tests.measured_photos import outlined, photo_with

PART = invented()[0].lot.part
SHOWN, COPIES = 8, 10.0  # boards in a photo; of a lot ten times as many


def weigh(log: Log, lot: Invented, number: int, *, seller: str, others: float | None) -> None:
    """Log a lot and its yield; the boards that were not shown hold so much beside those that were."""
    name = f"lot {number}"
    log.add_lot(lot.lot.model_copy(update={"name": name, "seller": seller}))
    shown = tuple(outlined(100.0, 1.0) for _ in range(SHOWN))  # alike, so that the others are known to be so too
    document = lot.measured().model_copy(update={"boards": shown, "sha256": f"{number:064x}"}).to_dict()
    log.add_estimate(name, photo_of(document), document)
    if others is None:
        log.add_yield(name, lot.gold)
        return
    log.add_offer(name, {"lot": [{"name": "a", "picked": "seller"}]})
    more = 1 + (COPIES - 1) * others
    log.add_yield(name, lot.gold.model_copy(update={"mass_mg": lot.gold.mass_mg * more}), {name: COPIES})


@pytest.fixture
def log_of_choosers(tmp_path: Path) -> Log:
    """Ann chooses and leaves out the poor ones; Ben chooses and hides none; Cy's lots tell what boards hold."""
    lots = [x for x in invented() if x.lot.part == PART]
    with open_log(tmp_path / "log.sqlite") as log:
        for n in range(18):
            seller, others = (("Cy", None), ("Ann", 0.6), ("Ben", 1.0))[n % 3]
            weigh(log, lots[n % len(lots)], n, seller=seller, others=others)
    return log


def test_a_seller_who_hid_poor_boards_is_not_believed_again(log_of_choosers: Log, tmp_path: Path) -> None:
    with open_log(tmp_path / "log.sqlite") as log:
        found = newest(log.contents())
    assert found is not None
    sight = Sight(photo_with("next", ProductModel.of(100.0, ())))
    lot = Lot((Part("cards", (sight,), count=Distribution("constant", (100.0,)), picked="seller"),))

    def middle(seller: str) -> float:
        return float(np.median(estimate_lot(with_learned_choice(lot, found, seller)).gold_mg.draws(20_000)))

    anybody = float(np.median(estimate_lot(lot).gold_mg.draws(20_000)))
    assert middle("Ann") < 0.9 * anybody
    assert middle("Ann") < 0.85 * middle("Ben")
    assert middle("Ben") > 0.99 * anybody

    # boards that were alike in lots of this name are known to be so
    def spread(lot: Lot) -> float:
        return float(np.std(np.log(estimate_lot(lot).gold_mg.draws(20_000))))

    assert spread(with_learned_choice(lot, found, "Cy", PART)) < 0.5 * spread(lot)
    assert with_learned_choice(lot, found, "Cy", "something else") is lot
    # of one with whom no such lot was weighed nothing was learned
    assert with_learned_choice(lot, found, "Cy") is lot
    assert with_learned_choice(lot, None, "Ann") is lot
