"""Ten thousand draws for thirty boards, photographed one by one: estimated and valued in under two seconds."""

from __future__ import annotations

import time
from datetime import date

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.gold import gold_mass
from grader.lot import Lot, Part, Sight, estimate_lot
from grader.measured import Measured
from grader.model import FINISHES, ProductModel
from grader.valuation import load_assumptions, value_lot, with_given
from tests.measured_photos import outlined, photo_with

TODAY = date(2026, 11, 25)
OWN = ("scale-fit", "face-height", "segmentation")


def board(number: int) -> Measured:
    sha256 = f"{number:064d}"
    inputs = [Input(kind, kind, Distribution("lognormal", (1.0, 0.03)), "test", of=(str(number),)) for kind in OWN]
    inputs.append(Input("print-size", "print", Distribution("normal", (1.0, 0.01)), "test", of=("own",)))
    area = {finish: ProductModel.of(100.0 + number, inputs) for finish in FINISHES}
    return photo_with(f"{number}.jpg", gold_mass(area).total, area, sha256=sha256, boards=(outlined(4000.0, 1.0),))


def test_thirty_boards_in_three_parts() -> None:
    boards = [board(n) for n in range(30)]
    assumptions = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=TODAY)
    started = time.process_time()
    parts = tuple(
        Part(f"part {k}", tuple(Sight(b) for b in boards[k::3]), count=Distribution("constant", (300.0,)))
        for k in range(3)
    )
    lot = estimate_lot(Lot(parts))
    offer = value_lot(
        lot.gold_mg, assumptions, today=TODAY, mass_g=lot.mass_g, lot=lot.as_json(), notices=lot.notices, draws=10_000
    )
    assert time.process_time() - started < 2.0
    assert offer.questions
    assert len(offer.routes) == 6
