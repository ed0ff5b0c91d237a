"""Process sets, and what goes in: measurements, cut plans, figures as typed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import DataFileError, RefusedError, UsageError
from calibration.inputs import Input
from calibration.sourced import HOW_KNOWN
from grader.batch import Given, charge_of, example_process_text, load_process, process_sets, read_cut_plan
from grader.batch.figures import UNITS
from grader.measured import Measured
from grader.model import ProductModel
from tests.measured_photos import photo_with

SCALE = Input("scale", "scale", Distribution("normal", (1.0, 0.01)), "test", of=("test",))


def write(folder: Path, text: str) -> str:
    path = folder / "mine.toml"
    path.write_text(text, "utf-8")
    return str(path)


def test_the_examples_are_whole_and_sourced() -> None:
    process = load_process()
    assert set(process.figures) == set(UNITS) == process.examples
    for figure in process.figures.values():
        assert any(figure.source.endswith(f"({how})") for how in HOW_KNOWN), figure.name


def test_an_own_set_takes_the_rest_from_the_examples(tmp_path: Path) -> None:
    own = load_process(write(tmp_path, '[liquor_per_board]\nestimate = "2 l/kg"\n'))
    assert own.name == "mine"
    assert own.figures["liquor_per_board"].distribution == Distribution("constant", (2.0,))
    assert own.figures["liquor_per_board"].title == load_process().figures["liquor_per_board"].title
    assert own.examples == set(UNITS) - {"liquor_per_board"}


def test_the_example_file_is_itself_a_set(tmp_path: Path) -> None:
    copy = load_process(write(tmp_path, example_process_text()))
    assert {k: f.distribution for k, f in copy.figures.items()} == {
        k: f.distribution for k, f in load_process().figures.items()
    }
    assert copy.examples == frozenset()


def test_sets_are_found_by_name(tmp_path: Path) -> None:
    write(tmp_path, '[drag_out]\nestimate = "5 %"\n')
    assert list(process_sets(tmp_path)) == ["mine"]
    assert load_process("mine", tmp_path).figures["drag_out"].distribution.parameters == (0.05,)
    with pytest.raises(UsageError) as caught:
        load_process("theirs", tmp_path)
    assert caught.value.code == "process-unknown"


@pytest.mark.parametrize(
    "text",
    [
        "no toml [",
        "currency = 3",
        '[mystery]\nestimate = "3"',
        "[fill]\nestimate = 0.8",
        "fill = 3",
        '[fill]\nestimate = "80 %"\ncolour = "green"',
        '[fill]\nestimate = "80 %"\nhow_known = "surely"',
        '[fill]\nestimate = "180 %"',
        '[fill]\nestimate = "-5 %"',
        '[liquor_per_board]\nestimate = "1.7 ml"',
        '[liquor_per_board]\nestimate = "1.7"',
        '[liquor_per_board]\nestimate = "1.7 bottles/g"',
        '[liquor_per_board]\nestimate = "-1.7 ml/g"',
        '[liquor_per_board]\nestimate = "2..1 ml/g"',
        '[hydrochloric_strength]\nestimate = "37 %"',
        '[hydrochloric_strength]\nestimate = "-12 mol/l"',
        '[acid_per_peroxide]\nestimate = "0"',
        '[rinses]\nestimate = "2.5"',
        '[price_nitric]\nestimate = "40 USD"',
        '[price_nitric]\nestimate = "40 $/l"',
        '[price_nitric]\nestimate = "-40 USD/l"',
        '[days_per_load]\nestimate = "7 h"',
        '[copper_thickness]\nestimate = "35"',
    ],
)
def test_a_set_that_says_something_odd_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(DataFileError, match=r"mine\.toml"):
        load_process(write(tmp_path, text))


def test_a_number_of_rinses_is_one_number(tmp_path: Path) -> None:
    with pytest.raises(UsageError) as caught:
        load_process(write(tmp_path, '[rinses]\nestimate = "2..4"'))
    assert caught.value.code == "count-uncertain"


def measured(photo: str = "a.jpg", area: float = 500.0, gold: float = 8.0) -> Measured:
    return photo_with(
        photo,
        ProductModel.of(gold, [SCALE]),
        {"hard_gold": ProductModel.of(area * 0.75, [SCALE]), "undetermined": ProductModel.of(area * 0.25, [SCALE])},
    )


def middle(model: ProductModel) -> float:
    return float(np.median(model.draws()))


def ranged(value: float) -> dict[str, float]:
    return {"value": value, "low": value * 0.9, "high": value * 1.2, "level": 0.9}


def cut_plan(photo: str = "a.jpg") -> dict[str, Any]:
    pieces = [
        {"kept": True, "box_mm": [0, 10, 0, 10], "mass_g": ranged(3.0), "gold_mg": ranged(6.0)},
        {"kept": False, "box_mm": [10, 90, 0, 10], "mass_g": ranged(20.0), "gold_mg": ranged(0.0)},
        {"kept": True, "box_mm": [90, 100, 0, 10], "mass_g": ranged(2.0), "gold_mg": ranged(3.0)},
        {"kept": False, "box_mm": [90, 100, 0, 10], "mass_g": ranged(2.0), "gold_mg": ranged(1.0)},
    ]
    return {"schema": 1, "photo": photo, "boards": [{"pieces": pieces}]}


def test_measured_area_and_gold_go_in_as_often_as_said() -> None:
    charge = charge_of(Given(mass="100 g"), [measured(), measured("b.jpg", 300.0, 2.0)], copies=3.0)
    assert middle(charge.plated_mm2) == pytest.approx(3 * 800, rel=1e-3)
    assert middle(charge.gold_mg) == pytest.approx(3 * 10, rel=1e-3)
    assert {n.code for n in charge.notices} == {"one-face-only"}
    # scale errs alike in both photos
    assert np.corrcoef(charge.plated_mm2.draws(), SCALE.draws())[0, 1] == pytest.approx(1.0)


def test_the_other_face_adds_up_to_as_much_again() -> None:
    one = charge_of(Given(mass="100 g"), [measured()])
    both = charge_of(Given(mass="100 g"), [measured()], other_face="alike")
    assert 1.5 < middle(both.gold_mg) / middle(one.gold_mg) < 2.1
    assert middle(both.plated_mm2) / middle(one.plated_mm2) == pytest.approx(
        middle(both.gold_mg) / middle(one.gold_mg)
    )
    assert both.notices == ()


def test_of_a_cut_plan_only_kept_pieces_go_in() -> None:
    pieces = read_cut_plan(cut_plan())
    assert pieces.share_of_gold == pytest.approx(0.9)
    assert pieces.heaviest_g == 3.0
    charge = charge_of(Given(), [measured()], [pieces], copies=2.0)
    assert middle(charge.mass_g) == pytest.approx(10.0, rel=0.01)
    low, high = np.quantile(charge.mass_g.draws(), [0.05, 0.95])
    assert high / low == pytest.approx(1.2 / 0.9, rel=0.02)
    assert middle(charge.gold_mg) == pytest.approx(2 * 0.9 * 8.0, rel=1e-3)
    assert middle(charge.plated_mm2) == pytest.approx(2 * 0.9 * 500, rel=1e-3)
    assert charge.heaviest_piece_g == 3.0


def test_gold_of_a_cut_plan_alone() -> None:
    charge = charge_of(Given(plated_area="5 cm2"), (), [read_cut_plan(cut_plan())])
    assert middle(charge.gold_mg) == pytest.approx(9.0, rel=0.01)


def test_gold_of_an_area_alone_is_that_of_an_unknown_finish() -> None:
    charge = charge_of(Given(mass="100 g", plated_area="10 cm2"))
    low, mid, high = np.quantile(charge.gold_mg.draws(), [0.05, 0.5, 0.95])
    assert 0 < low < mid < high
    assert high / low > 3


def test_what_is_typed_goes_before_what_was_measured() -> None:
    charge = charge_of(Given("1 lb", "50 mg", "1 sq in", "2 cm2"), [measured()])
    assert middle(charge.mass_g) == pytest.approx(453.59237)
    assert middle(charge.gold_mg) == pytest.approx(50)
    assert middle(charge.plated_mm2) == pytest.approx(645.16)
    assert charge.bare_copper_mm2 is not None
    assert middle(charge.bare_copper_mm2) == pytest.approx(200)


@pytest.mark.parametrize(
    ("given", "photos", "code"),
    [
        (Given(), [measured()], "pieces-mass-unknown"),
        (Given(mass="100 g"), [], "no-plated-area"),
        (Given(mass="0 g"), [measured()], "value-zero"),
        (Given(mass="-5 g"), [measured()], "value-negative"),
        (Given(mass="470"), [measured()], "unit-missing"),
        (Given(mass="470 bottles"), [measured()], "unit-unknown"),
        (Given(mass="470 ml"), [measured()], "unit-wrong-kind"),
        (Given(mass="500..400 g"), [measured()], "estimate-order"),
        (Given(mass="100 g", gold="1 oz"), [measured()], "ounce-ambiguous"),
        (Given(mass="100 g", gold="-1 mg"), [measured()], "value-negative"),
        (Given(mass="100 g", bare_copper="3 g"), [measured()], "unit-wrong-kind"),
    ],
)
def test_what_cannot_go_in(given: Given, photos: list[Measured], code: str) -> None:
    with pytest.raises((UsageError, RefusedError)) as caught:
        charge_of(given, photos)
    assert caught.value.code == code


@pytest.mark.parametrize("copies", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_copies(copies: float) -> None:
    with pytest.raises(UsageError) as caught:
        charge_of(Given(mass="1 g"), [measured()], copies=copies)
    assert caught.value.code == "copies-invalid"


def test_cut_plans_that_fit_no_photo() -> None:
    plan = read_cut_plan(cut_plan("other.jpg"))
    for cut in ([plan], [read_cut_plan(cut_plan())] * 2):
        with pytest.raises(UsageError) as caught:
            charge_of(Given(), [measured()], cut)
        assert caught.value.code == "cut-without-photo"


def test_cut_plans_that_cannot_be_used() -> None:
    def code(document: dict[str, Any]) -> str:
        with pytest.raises(UsageError) as caught:
            read_cut_plan(document)
        return caught.value.code

    assert code({}) == code({"photo": "a", "boards": 3}) == "cut-invalid"
    assert code({"photo": "a", "boards": [{"pieces": [{"kept": True}]}]}) == "cut-invalid"
    assert code({"photo": "a", "boards": [{"error": {"code": "no-cut-fits"}}]}) == "cut-incomplete"
    assert code({"photo": "a", "boards": []}) == "cut-keeps-nothing"
    broken = cut_plan()
    broken["boards"][0]["pieces"][0]["mass_g"]["low"] = 99.0
    assert code(broken) == "cut-invalid"
