"""Lots worked out by hand, draw by draw: what was seen is there, and only the others are uncertain."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.lot import Lot, LotEstimate, Part, Sight, estimate_lot
from grader.lot.assumed import lot_inputs
from grader.measured import Measured
from grader.model import ProductModel, Term
from tests.measured_photos import outlined, photo_with

N = 2000


PRIOR_SPREAD = 0.92


def fixed(value: float) -> Distribution:
    return Distribution("constant", (value,))


def photo(name: str, gold_mg: float, *outlines_mm2: float, scale_sd: float = 0.0, shape: Any = None) -> Measured:
    scale = Input.named(f"scale:{name}", "scale", Distribution("normal", (1.0, scale_sd)), "test")
    model = ProductModel((Term(gold_mg, (scale.name,)),), {scale.name: scale})
    boards = tuple(outlined(area, gold_mg / len(outlines_mm2), shape) for area in outlines_mm2)
    return photo_with(name, model, boards=boards, scale_inputs=(scale.name,))


def of(*parts: Part) -> LotEstimate:
    return estimate_lot(Lot(parts))


def drawn(model: ProductModel, start: str) -> np.ndarray:
    """Draws of the input whose name begins so."""
    (found,) = (i for name, i in model.inputs.items() if name.startswith(start))
    return found.draws(N)


def test_with_a_count_that_is_a_range_only_the_unseen_boards_are_uncertain() -> None:
    """4 boards of 10 mg seen of 80 to 120: gold = 40 + 10 × (count - 4) × u, whatever the draw."""
    estimate = of(Part("a", (Sight(photo("x", 40.0), boards=4),), count=Distribution("uniform", (80.0, 120.0))))
    gold = estimate.gold_mg
    by_hand = 40 + 10 * (drawn(gold, "count:") - 4) * drawn(gold, "unseen-boards:")
    np.testing.assert_allclose(gold.draws(N), by_hand, rtol=1e-12)


def test_with_a_stated_mass_only_the_unseen_boards_are_uncertain() -> None:
    """2 boards of 40 g together carry 20 mg, of 900 to 1100 g: what is over the 40 g carries u × 0.5 mg/g."""
    part = Part(
        "a", (Sight(photo("x", 20.0), boards=2, weighed_g=40.0),), mass_g=Distribution("uniform", (900, 1100))
    )
    gold = of(part).gold_mg
    u, mass, scale = (drawn(gold, name) for name in ("unseen-boards:", "stated-mass:", "weighing:"))
    np.testing.assert_allclose(gold.draws(N), 20 - 20 * u + 0.5 * scale * mass * u, rtol=1e-12)


@pytest.mark.parametrize("boards", [1, 3])
def test_all_boards_seen_is_no_error_at_all(boards: int) -> None:
    for count in (None, fixed(float(boards))):
        estimate = of(Part("a", (Sight(photo("x", 12.0), boards=boards),), count=count))
        assert (estimate.gold_mg.draws(N) == 12.0).all()
        assert estimate.parts[0].spread is None
        assert [n.code for n in estimate.notices] == []


def test_mass_by_outlines_counts_every_outline_of_every_photo() -> None:
    """Outlines of 30 + 10 and 20 cm²: 60 cm² at the common mass by area, of 3 boards, for a lot of 30."""
    sights = (Sight(photo("x", 5.0, 3000.0, 1000.0), boards=2), Sight(photo("y", 5.0, 2000.0)))
    alone, more = of(Part("a", sights)), of(Part("a", sights, count=fixed(30.0)))
    assert alone.mass_g is not None
    assert more.mass_g is not None
    np.testing.assert_allclose(alone.mass_g.draws(N), 60 * drawn(alone.mass_g, "areal-density:"))
    np.testing.assert_allclose(more.mass_g.draws(N), 600 * drawn(more.mass_g, "areal-density:"))


def test_gold_by_mass_from_outlines_is_gold_by_area_over_mass_by_area() -> None:
    """10 mg on 40 cm² in one photo, 2 mg on 8 cm² in the next: 0.25 mg/cm² by the area of a gram."""
    sights = (Sight(photo("x", 10.0, 3000.0, 1000.0), boards=2), Sight(photo("y", 2.0, 800.0)))
    estimate = of(Part("a", sights, mass_g=fixed(20_000.0)))
    gold = estimate.gold_mg
    per_g = 0.25 * drawn(gold, "area-by-mass:")
    u, mass = drawn(gold, "unseen-boards:"), drawn(gold, "stated-mass:")
    np.testing.assert_allclose(gold.draws(N), 12 - 12 * u + per_g * mass * u, rtol=1e-12)
    # the area by mass is the inverse of the mass by area: medians 1 / 0.47 and 0.47, of the same width
    median, width = lot_inputs()["areal-density"].distribution.parameters
    (inverse,) = (i for name, i in gold.inputs.items() if name.startswith("area-by-mass:"))
    assert (inverse.distribution.kind, inverse.unit) == ("lognormal", "cm2/g")
    assert inverse.distribution.parameters == pytest.approx((1 / median, width))
    # about as many boards as the stated mass holds: 3 weigh 48 cm² × 0.47 g/cm²
    stated = np.median(gold.inputs["stated-mass:a"].draws())
    assert estimate.parts[0].boards == pytest.approx(3 * stated / (48 * median), rel=0.02)


def test_a_back_with_outlines_counts_its_own_area() -> None:
    """Gold by area of each face is added: 10 mg on 40 cm² in front, 4 mg on 44 cm² behind."""
    sight = Sight(photo("f", 10.0, 4000.0), photo("b", 4.0, 4400.0))
    gold = of(Part("a", (sight,), mass_g=fixed(20_000.0))).gold_mg
    seen, u = 14.0, drawn(gold, "unseen-boards:")
    per_g = (10 / 40 + 4 / 44) * drawn(gold, "area-by-mass:")
    np.testing.assert_allclose(gold.draws(N), seen - seen * u + per_g * drawn(gold, "stated-mass:") * u, rtol=1e-12)
    # without outlines on the back its gold by area is not known
    bare = Sight(photo("f", 10.0, 4000.0), photo("b", 4.0))
    with pytest.raises(Exception, match="the weight of the boards in the photos is not known"):
        of(Part("a", (bare,), mass_g=fixed(20_000.0)))


def test_a_lot_of_a_mass_below_what_was_seen_is_what_was_seen() -> None:
    """One board of 100 g seen, 98 to 101 g stated: within the scale's error it is the whole lot."""
    part = Part("a", (Sight(photo("x", 7.0), weighed_g=100.0),), mass_g=Distribution("uniform", (98.0, 101.0)))
    estimate = of(part)
    assert estimate.parts[0].boards == 1.0
    assert (estimate.gold_mg.draws(N) == 7.0).all()


def test_the_mass_of_a_lot_is_known_only_where_that_of_every_part_is() -> None:
    weighed = Part("a", (Sight(photo("x", 7.0), weighed_g=100.0),))
    other = Part("b", (Sight(photo("y", 7.0), weighed_g=50.0),))
    unknown = Part("c", (Sight(photo("z", 7.0)),))
    both = of(weighed, other).mass_g
    assert both is not None
    np.testing.assert_allclose(both.draws(N), 100 * drawn(both, "weighing:a") + 50 * drawn(both, "weighing:b"))
    assert of(weighed, unknown).mass_g is None


def test_spread_by_mass_takes_the_size_that_gold_goes_with() -> None:
    """Gold in step with outlined area, or with mass on the scale: no spread of its own is seen, the prior fades."""

    def spread(*sights: Sight, **size: Distribution) -> float:
        found = of(Part("a", sights, **size)).parts[0].spread
        assert found is not None
        return found

    areas = (1000.0, 2000.0, 4000.0)
    by_area = tuple(Sight(photo(f"x{a:g}", a / 100, a)) for a in areas)
    by_mass = tuple(Sight(photo(f"x{a:g}", a / 100), weighed_g=a / 50) for a in areas)
    assert spread(*by_area, mass_g=fixed(9000.0)) == pytest.approx(spread(*by_mass, mass_g=fixed(9000.0)))
    # counted, the same boards differ
    assert spread(*by_area, count=fixed(100.0)) > 1.5 * spread(*by_area, mass_g=fixed(9000.0))
    # and so do two outlines of one photo, told apart by their own areas
    apart = Sight(photo("y", 20.0, 1000.0, 3000.0), boards=2)
    counted = Sight(photo("y", 20.0, 2000.0, 2000.0), boards=2)
    assert spread(apart, mass_g=fixed(9000.0)) > 1.2 * spread(counted, mass_g=fixed(9000.0))


def test_the_record_of_a_part_says_what_was_stated_and_seen() -> None:
    counted = Part("a", (Sight(photo("f", 10.0, 4000.0), photo("b", 4.0), boards=2),), count=fixed(30.0))
    weighed = Part("c", (Sight(photo("x", 20.0), weighed_g=40.0),), mass_g=fixed(1000.0), other_face="alike")
    one, other = of(counted, weighed).as_json()
    assert one["count"] == {"kind": "constant", "parameters": [30.0]}
    assert one["stated_mass_g"] is None
    assert (one["name"], one["boards"], one["boards_seen"], one["other_face"]) == ("a", 30.0, 2, "left_out")
    # one heap says nothing of the spread: the prior's, cut off at both ends of its grid
    assert one["spread_between_boards"] == pytest.approx(PRIOR_SPREAD, rel=0.01)
    assert one["photos"] == [
        {
            "front": "f",
            "front_sha256": "ffff",
            "back": "b",
            "back_sha256": "bbbb",
            "boards": 2,
            "board_count": None,
            "weighed_g": None,
        }
    ]
    assert other["count"] is None
    assert other["stated_mass_g"] == {"kind": "constant", "parameters": [1000.0]}
    assert other["other_face"] == "alike"
    assert other["photos"] == [
        {
            "front": "x",
            "front_sha256": "xxxx",
            "back": None,
            "back_sha256": None,
            "boards": 1,
            "board_count": None,
            "weighed_g": 40.0,
        }
    ]


def test_what_a_lot_warns_of_is_said_once() -> None:
    alike = Part("a", (Sight(photo("x", 20.0, 4000.0)),), mass_g=fixed(1000.0), other_face="alike")
    assert [n.code for n in of(alike).notices] == [
        "boards-not-photographed",
        "other-face-assumed",
        "board-mass-assumed",
    ]
    (first, *_) = of(alike).notices
    assert "1 of about 51 boards" in first.message
    assert [n.code for n in of(Part("a", (Sight(photo("x", 1.0, 50.0, 50.0), boards=2),))).notices] == []
    assert [n.code for n in of(Part("a", (Sight(photo("x", 1.0, 50.0, 50.0), boards=3),))).notices] == [
        "touching-boards"
    ]


def test_the_least_that_may_be_said_of_a_lot() -> None:
    """One board is enough, a whole lot may be what was seen, and a mass of a tenth of a gram is one."""
    assert of(Part("a", (Sight(photo("x", 1.0), boards=1, weighed_g=0.1),), count=fixed(1.0))).parts[0].boards == 1.0
    small = of(Part("a", (Sight(photo("x", 1.0), weighed_g=0.1),), mass_g=Distribution("uniform", (0.4, 0.6))))
    assert small.parts[0].boards == pytest.approx(5.0, rel=0.02)


def test_outlines_without_gold_do_not_tell_boards_apart() -> None:
    """Two boards, two outlines, and whatever gold there is lies on neither: the photo counts as a whole."""
    outlines = (outlined(100.0, 0.0), outlined(100.0, 0.0))
    bare = photo("x", 10.0).model_copy(update={"boards": outlines})
    estimate = of(Part("a", (Sight(bare, boards=2),), count=fixed(10.0)))
    assert estimate.parts[0].spread == pytest.approx(PRIOR_SPREAD, rel=0.01)


@pytest.mark.parametrize("unit", [1.0, 0.01])
def test_boards_told_apart_and_boards_alone_are_of_one_size(unit: float) -> None:
    """Two boards of 1 mg in one photo and one of 1 mg in another do not differ, be it milligrams or less."""
    both = Sight(photo("x", 2 * unit, 100.0, 100.0), boards=2)
    estimate = of(Part("a", (both, Sight(photo("y", unit))), count=fixed(10.0)))
    alike = estimate.parts[0].spread
    assert alike is not None
    # and told apart they differ by what lies on each
    told = both.front.model_copy(update={"boards": (outlined(100.0, 0.1 * unit), outlined(100.0, 0.9 * unit))})
    estimate = of(Part("a", (Sight(told, boards=2),), count=fixed(10.0)))
    apart = estimate.parts[0].spread
    assert apart is not None
    assert alike < 0.3 < 1.5 < apart
