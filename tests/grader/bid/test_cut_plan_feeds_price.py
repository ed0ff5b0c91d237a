"""One lot with a cut plan: value charges the cuts, pieces, loads and minutes that cut, batch and grade state."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from calibration.errors import DataFileError, UsageError
from grader.batch import BatchPlan, Given, Vessels, charge_of, plan_batch, read_cut_plan
from grader.batch.process import load_process
from grader.bid import bid_for, cuts_of_boards, cuts_of_documents
from grader.bid.cuts import BoardCuts
from grader.bid.heaps import portions_of
from grader.cut import CutRules, Vessel, cut_boards, plan_boards
from grader.cut.words import cut_document
from grader.grade import Candidate, candidates_of, charge_to_process, grade_boards, load_thresholds
from grader.lot import LotEstimate, estimate_lot, one_part
from grader.measured import Measured
from grader.model import EMPTY, ProductModel
from grader.photo import load_photo
from grader.pipeline import measure
from grader.request import Request
from grader.samples import samples_folder
from grader.valuation import Assumptions, Offer, load_assumptions, with_given
from grader.valuation.portions import Portion
from tests.grader.bid.test_heaps import BARE, MODULE, lot, photo

TODAY = date(2026, 11, 25)
SETS = 1000  # of the photographed boards
RULES = CutRules(Vessel(100.0, 100.0))


def figures(**entries: str) -> Assumptions:
    return with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=TODAY, **entries)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Planned:
    """What the four make of one photo."""

    measured: Measured
    document: dict[str, Any]
    grades: list[Candidate]
    portion_here: Portion
    batch: BatchPlan
    offer: Offer

    @property
    def strip_needs(self) -> dict[str, float]:
        return {name: r.value for name, r in next(r for r in self.offer.routes if r.name == "strip").needs.items()}


@pytest.fixture(scope="module")
def planned() -> Planned:
    """Modules, as the commands hand them on: through JSON."""
    done = measure(load_photo(samples_folder() / "memory-modules.jpg"), Request())
    measured = Measured.of(done)
    boards = cut_boards(done)
    plans = plan_boards(boards, RULES)
    document = json.loads(json.dumps(cut_document(measured.photo, plans)))
    grades, _ = candidates_of(measured.photo, boards, RULES)
    estimate = estimated(measured)
    feed = charge_of(Given(), [measured], [read_cut_plan(document)], copies=SETS)
    batch = plan_batch(feed, load_process(), Vessels(1000.0, 1), figures(rate="0 USD/h"))
    offer = bid_for(estimate, figures(), today=TODAY, cuts=cuts_of_documents([document], [measured]), draws=20_000)
    (here,) = portions_of(estimate, {measured.sha256: cuts_of_boards(plans)})
    return Planned(measured, document, grades, here, batch, offer)


def estimated(measured: Measured) -> LotEstimate:
    seen = len(measured.boards)
    return estimate_lot(one_part([measured], boards=[seen], count=str(SETS * seen)))


def median(model: ProductModel) -> float:
    return float(np.median(model.draws()))


def test_cuts_and_pieces_are_those_of_the_plan_the_batch_and_the_grades(planned: Planned) -> None:
    cuts = sum(len(b["cuts"]) for b in planned.document["boards"])
    assert cuts == sum(c.cuts or 0 for c in planned.grades) == 8
    assert planned.strip_needs["cut"] == pytest.approx(SETS * cuts)
    (portion,) = portions_of(estimated(planned.measured), cuts_of_documents([planned.document], [planned.measured]))
    assert portion.stripped_g is not None
    pieces_g = median(portion.stripped_g)
    assert pieces_g == pytest.approx(planned.batch.mass_g.value, rel=0.005)
    assert pieces_g == pytest.approx(SETS * median(sum((c.mass_g for c in planned.grades), EMPTY)), rel=0.01)
    # on the page the plan is at hand itself, not its file
    assert planned.portion_here.stripped_g is not None
    assert median(planned.portion_here.stripped_g) == pytest.approx(pieces_g, rel=0.01)
    assert planned.portion_here.cuts == portion.cuts


def test_loads_waste_chemicals_and_hours_are_those_of_batch_and_grade(planned: Planned) -> None:
    needs, batch = planned.strip_needs, planned.batch
    assert needs["load"] == pytest.approx(batch.loads.value, abs=1)
    liquor = next(w for w in batch.waste if w.key == "liquor")
    assert needs["l"] == pytest.approx(liquor.amount.value, rel=0.01)
    rest = [line.amount.value for line in batch.costs if line.key not in ("disposal", "own_time")]
    assert needs["chemicals"] == pytest.approx(sum(rest), rel=0.05)  # a sum of medians
    # with all gold got out and paid for, its worth ÷ grade's value per minute is grade's minutes
    graded = grade_boards(planned.grades, figures(recovery="100 %", payable="100 %"), load_thresholds())
    at_boards_h = 0.0
    for board in graded.boards:
        assert board.figures is not None
        worth = median(board.candidate.gold_mg) * 1e-3 * 2650 / 31.1034768
        at_boards_h += worth / board.figures.per_minute.value / 60
    assert needs["h"] == pytest.approx(batch.time.hours.value + SETS * at_boards_h, rel=0.03)


def test_a_lot_of_the_bench_is_the_batch_of_the_bench(planned: Planned) -> None:
    """The page plans a batch from its grades; the price strips the same pieces."""
    cheap = replace(load_thresholds(), least_per_kg=0.0, least_per_h=0.0, cost_per_kg=0.0, sale_least_per_h=1e9)
    feed = charge_to_process(grade_boards(planned.grades, figures(), cheap))
    assert planned.portion_here.stripped_g is not None
    assert SETS * median(feed.mass_g) == pytest.approx(median(planned.portion_here.stripped_g), rel=0.005)


def test_what_a_plan_throws_away_is_not_stripped() -> None:
    estimate = lot(MODULE, count=100)
    (sha256,) = {s.front.sha256 for p in estimate.parts for s in p.part.sights}
    whole = portions_of(estimate, {sha256: [BoardCuts(3, ProductModel.of(2.0, ()), 1.0)]})[0]
    some = portions_of(estimate, {sha256: [BoardCuts(3, ProductModel.of(2.0, ()), 0.9)]})[0]
    assert (whole.gold_stripped, some.gold_stripped, some.gold_in_pieces) == pytest.approx((1.0, 0.9, 0.9))
    assert some.cuts == 3
    assert some.stripped_g is not None
    assert median(some.stripped_g) == pytest.approx(200.0)


def test_a_board_that_no_cut_pays_for_goes_in_as_it_is() -> None:
    estimate = lot(MODULE, count=100)
    (sha256,) = {s.front.sha256 for p in estimate.parts for s in p.part.sights}
    (portion,) = portions_of(estimate, {sha256: [BoardCuts(0, ProductModel.of(14.0, ()), 1.0)]})
    assert (portion.cuts, portion.pieces_g, portion.gold_in_pieces) == (0, EMPTY, 0.0)
    assert portion.stripped_g is not None
    assert portion.mass_g is not None
    assert median(portion.stripped_g) == pytest.approx(median(portion.mass_g))


def test_boards_that_were_not_planned_keep_their_measured_rows() -> None:
    estimate = lot(MODULE, BARE, count=100)
    (sha256,) = {s.front.sha256 for p in estimate.parts for s in p.part.sights}
    assert portions_of(estimate, {sha256: [None, None]}) == portions_of(estimate, {})


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"photo": "other.jpg"}, "cut-without-photo"),
        ({"boards": []}, "cut-other-boards"),
        ({"boards": [{"cuts": []}]}, "cut-invalid"),
        ({"boards": None}, "cut-invalid"),
    ],
)
def test_a_plan_of_something_else_is_refused(change: dict[str, Any], code: str) -> None:
    document = {"photo": "a.jpg", "boards": [{"error": {"code": "no-gold-to-keep"}}], **change}
    with pytest.raises((UsageError, DataFileError)) as caught:
        cuts_of_documents([document], [photo(MODULE)])
    assert caught.value.code == code
