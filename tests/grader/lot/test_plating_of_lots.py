"""Kind, who chose the boards shown, and evidence, from what a person writes to the gold of a lot; by hand."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.kinds import KINDS_OF_BOARDS, board_kind, density
from calibration.thickness import contact_plating, gold_properties
from grader.choices import Choice
from grader.gold import gold_mass
from grader.lot import Lot, Part, Sight, estimate_lot
from grader.lot.assumed import lot_inputs
from grader.lot.kinds import choices, proposed_kind
from grader.lot.told import Told, read_told
from grader.measured import Measured
from grader.measured.parts import MeasuredRow
from grader.model import ProductModel
from grader.valuation.information import value_of_answer
from tests.measured_photos import photo_with

AREA = {"hard_gold": ProductModel.of(1000.0, ())}


def shown(kind: str = "unknown", name: str = "p") -> Measured:
    return photo_with(name, gold_mass(AREA, gold_properties(kind=kind)).total)


def part(**said: object) -> Part:
    return Part("a", (Sight(shown()),), **said)  # type: ignore[arg-type]


def gold(p: Part) -> np.ndarray:
    return estimate_lot(Lot((p,))).gold_mg.draws(20_000)


def used(p: Part) -> dict[str, Input]:
    return {i.kind: i for i in estimate_lot(Lot((p,))).gold_mg.inputs.values()}


# --- kinds


def test_a_kind_named_for_the_lot_is_as_if_it_had_been_measured_with_it() -> None:
    named = gold(part(kind="memory"))
    measured = gold(Part("a", (Sight(shown("memory")),)))
    assert named == pytest.approx(measured)
    assert used(part(kind="memory"))["thickness"].name == "thickness:hard_gold:memory"
    assert used(part(kind="memory"))["flash-share"].name == "flash-share:hard_gold:memory"


def test_many_designs_even_out() -> None:
    one, many = (np.quantile(gold(part(kind="memory", designs=d)), [0.05, 0.95]) for d in ("one", "many"))
    assert one[1] / one[0] > 10
    assert many[1] / many[0] < 3


def test_parts_keep_their_plating_apart() -> None:
    lot = Lot((Part("a", (Sight(shown(name="p")),), kind="old"), Part("b", (Sight(shown(name="q")),), kind="old")))
    names = {i.name for i in estimate_lot(lot).gold_mg.inputs.values() if i.kind in ("thickness", "flash-share")}
    assert names == {f"{kind}:hard_gold:old:{p}" for kind in ("thickness", "flash-share") for p in ("a", "b")}


def test_connectors_propose_a_kind_where_they_agree() -> None:
    def with_rows(*outlines: str | None) -> Measured:
        rows = tuple(MeasuredRow(count=40, outline=o) for o in outlines)
        return shown().model_copy(update={"loose_contacts": rows})

    assert proposed_kind([with_rows("DIMM, 184 contacts (DDR)", None)]) == "memory"
    assert proposed_kind([with_rows("PCI Express", "PCI, 32 bit")]) == "consumer_cards"
    assert proposed_kind([with_rows("VL bus or Micro Channel, 16 bit")]) == "consumer_cards"
    assert proposed_kind([with_rows("PCI Express", "DIMM, 184 contacts (DDR)")]) is None
    assert proposed_kind([with_rows(None)]) is None
    photo = with_rows("DIMM, 184 contacts (DDR)")
    told = estimate_lot(Lot((Part("a", (Sight(photo),)),))).notices
    assert [n.code for n in told] == ["kind-proposed"]
    assert "memory modules" in told[0].message
    # an answer settles it, also that nobody knows
    for kind in ("memory", "unknown"):
        assert estimate_lot(Lot((Part("a", (Sight(photo),), kind=kind),))).notices == ()


def test_naming_the_kind_is_a_question_only_where_nobody_knows_it() -> None:
    for known in ({"kind": "memory"}, {"designs": "many"}, {"evidence": (read_told("xrf 0.7 um"),)}):
        assert choices(part(**known), estimate_lot(Lot((part(**known),))).gold_mg) == ()
    (asked,) = estimate_lot(Lot((part(),))).choices
    assert asked.input == "thickness:hard_gold"
    assert len(asked.answers) == len(KINDS_OF_BOARDS) - 1
    assert "memory modules" in asked.question


def test_the_worth_of_an_answer_is_that_of_two_kinds_by_hand() -> None:
    """Either kind as likely; E[t] = m exp(s²/2) of each. At a price between, one is bought and the other left."""
    thick, thin = (Distribution("lognormals", (1.0, m, 0.3)) for m in (1.0, 0.5))
    now = Distribution("lognormals", (0.5, 1.0, 0.3, 0.5, 0.5, 0.3))
    draws = Input("t", "t", now, "test").draws(50_000)
    price = 0.9
    bought, left = exp(0.045) - price, 0.5 * exp(0.045) - price
    by_hand = 0.5 * max(0.0, bought) + 0.5 * max(0.0, left) - max(0.0, 0.5 * (bought + left))
    choice = Choice("which?", "t", now, ((1.0, thick), (1.0, thin)))
    assert value_of_answer([draws - price], draws, choice) == pytest.approx(by_hand, rel=0.03)
    # an answer that changes nothing is worth nothing, and none is worth less
    assert value_of_answer([draws + 1], draws, choice) == pytest.approx(0.0, abs=1e-9)


def test_density_integrates_to_one_and_is_the_mixture_s() -> None:
    for key in KINDS_OF_BOARDS:
        log_um = np.linspace(np.log(1e-3), np.log(30), 20_001)
        heights = density(board_kind(key).plating("one").thickness, np.exp(log_um))
        assert np.trapezoid(heights, log_um) == pytest.approx(1.0, abs=1e-4)


# --- who chose the boards


@pytest.mark.parametrize(("picked", "mean"), [("seller", (0.55 + 0.9 + 1) / 3), ("not_said", (0.6 + 1 + 1) / 3)])
def test_boards_not_shown_are_poorer_where_they_were_chosen(picked: str, mean: float) -> None:
    count = Distribution("constant", (101.0,))
    blind, chosen = (gold(part(count=count, picked=p)).mean() for p in ("blindly", picked))
    one = gold(part()).mean()
    # the board that was seen is seen; the hundred others hold less
    assert (chosen - one) / (blind - one) == pytest.approx(mean, rel=0.01)
    assert gold(part(count=count, picked="mine")).mean() == pytest.approx(blind)
    # where every board was seen nobody could choose
    assert gold(part(picked=picked)).mean() == pytest.approx(one)


def test_the_factor_of_a_choosing_seller_lies_where_order_statistics_put_it() -> None:
    """The greatest of 2, 3 and 5 standard normal numbers is 0.56, 0.85 and 1.16 on average; boards vary by 0.3."""
    low, mode, high = lot_inputs()["picking:seller"].distribution.parameters
    rng = np.random.default_rng(0)
    best = [rng.standard_normal((100_000, m)).max(axis=1).mean() for m in (2, 3, 5)]
    assert best == pytest.approx([0.564, 0.846, 1.163], abs=0.01)
    others = [exp(-0.3 * c) for c in best]
    assert low < min(others) < max(others) < mode < high == 1.0


# --- what is known of the plating


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("stated 30 uin", ("stated", 0.762, None, None, 0)),
        ("spec: 0.8 um", ("stated", 0.8, None, None, 0)),
        ("xrf 0.72 um", ("read", 0.72, None, None, 0)),
        ("XRF 0.72 ± 0.05 um", ("read", 0.72, 0.05, None, 0)),
        ("xrf 0.72 um +- 50 nm", ("read", 0.72, 0.05, None, 0)),
        ("strip 412 mg of 20 boards", ("stripped", None, None, 412.0, 20)),
        ("test strip 0.4 g from 20", ("stripped", None, None, 400.0, 20)),
    ],
)
def test_what_a_person_writes(text: str, told: tuple[str, float | None, float | None, float | None, int]) -> None:
    found = read_told(text)
    assert (found.how, found.boards) == (told[0], told[4])
    for got, wanted in zip((found.thickness_um, found.sd_um, found.mass_mg), told[1:4], strict=True):
        assert got == (None if wanted is None else pytest.approx(wanted))


@pytest.mark.parametrize(
    "text", ["", "30 uin", "stated", "xrf 1 ± 2 ± 3 um", "strip 400 mg", "strip 400 mg of 0 boards"]
)
def test_what_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        read_told(text)
    assert caught.value.code == "evidence-unreadable"


def test_a_slip_of_the_unit_is_refused() -> None:
    with pytest.raises(UsageError) as caught:
        read_told("stated 30 mil")
    assert caught.value.code == "thickness-implausible"


def test_a_reading_settles_a_lot() -> None:
    """1000 mm² at 0.7 um, density 17.7 and purity 0.994: 12.3 mg; 18 % to either side."""
    found = gold(part(evidence=(read_told("xrf 0.7 um"),)))
    low, middle, high = np.quantile(found, [0.05, 0.5, 0.95])
    assert middle == pytest.approx(0.7 * 17.7 * 0.994, rel=0.03)
    assert high / low == pytest.approx(exp(2 * 1.645 * 0.18 / np.sqrt(1 + (0.18 / 0.45) ** 2)), rel=0.1)
    assert used(part(evidence=(read_told("xrf 0.7 um"),)))["thickness"].name.startswith("thickness:hard_gold:told ")


def test_a_test_strip_tells_gold_by_board() -> None:
    """40 boards of 1000 mm² gave 200 mg, 89 % of 5.6 mg a board; by hand 5.6 / (17.7 × 0.994) = 0.32 um."""
    told = (Told("strip", "stripped", mass_mg=200.0, boards=40),)
    middle = float(np.median(gold(part(evidence=told))))
    # drawn a little to the prior, which holds 0.7 um more likely
    assert 5.6 < middle < 5.6 * 1.05


def test_evidence_moves_what_yields_taught_and_keeps_it_learned() -> None:
    values = tuple(np.exp(np.random.default_rng(1).normal(np.log(0.6), 0.4, 1024)))
    learned = Input(
        "thickness", "effective", Distribution("sample", values), "belief", "um", of=("hard_gold", "ab"),
        aligned_over="hard_gold:ab", belief="c0ffee",
    )  # fmt: skip
    photo = photo_with("p", gold_mass(AREA, gold_properties({"hard_gold": learned})).total)
    p = Part("a", (Sight(photo),), kind="memory", evidence=(Told("strip", "stripped", mass_mg=350.0, boards=100),))
    (found,) = (i for i in estimate_lot(Lot((p,))).gold_mg.used_inputs() if i.kind == "thickness")
    assert found.is_recovered
    assert found.drawn_as.startswith("thickness::told ")
    # 3.5 mg a board of 17.6 mg/um: 0.199 um effective, no recovery to be taken off
    assert np.median(found.draws(20_000)) == pytest.approx(0.2, rel=0.1)
    without = Part("a", (Sight(photo),), kind="memory")
    assert estimate_lot(Lot((without,))).gold_mg == photo.gold


def test_a_strip_of_boards_without_contacts_is_refused() -> None:
    bare = photo_with("p", gold_mass({"hard_gold": ProductModel.of(0.0, ())}, gold_properties()).total)
    with pytest.raises(UsageError) as caught:
        estimate_lot(Lot((Part("a", (Sight(bare),), evidence=(read_told("strip 400 mg of 20 boards"),)),)))
    assert caught.value.code == "strip-without-contacts"


def test_inputs_of_a_kind_are_read_back_from_json() -> None:
    for i in (*contact_plating("memory"), *contact_plating("old", "many")):
        assert Input.from_json(i.as_json()) == i
