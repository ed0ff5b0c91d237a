"""Figures: what they show is what they hold; units are turned by factors that stand in standards."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import UnitError
from grader import Figure
from grader.model import Range
from grader.units import format_range

GOLD = Figure(1000.0, 500.0, 2000.0, "mg")


def test_a_figure_shows_median_range_unit_and_level() -> None:
    assert str(Figure(11.42, 1.5, 27.1, "mg")) == "11 mg (2 to 27 mg, 90 % sure)"
    assert repr(GOLD) == str(GOLD) == format_range(Range(1000.0, 500.0, 2000.0), "mg")
    assert GOLD._repr_html_() == "<b>1.00 g</b> (0.50 to 2.00 g, 90 % sure)"
    assert Figure(1.0, 0.5, 2.0, "<b>")._repr_html_().startswith("<b>1.00 &lt;b&gt;</b>")


@pytest.mark.parametrize(
    ("figure", "unit", "one"),
    [
        (GOLD, "g", 1000.0),
        (GOLD, "ozt", 31103.4768),  # NIST Handbook 44, appendix C: exact
        (GOLD, "dwt", 1555.17384),  # a twentieth of it
        (Figure(1000.0, 500.0, 2000.0, "mm²"), "cm2", 100.0),
        (Figure(1000.0, 500.0, 2000.0, "mm²"), "sq in", 645.16),  # the inch is 25.4 mm: exact
    ],
)
def test_other_units(figure: Figure, unit: str, one: float) -> None:
    turned = figure.to(unit)
    assert (turned.unit, turned.level) == (unit, figure.level)
    expected = [x / one for x in (figure.median, figure.low, figure.high)]
    assert [turned.median, turned.low, turned.high] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("figure", "unit", "code"),
    [
        (GOLD, "mm", "unit-wrong-kind"),
        (GOLD, "oz", "ounce-ambiguous"),
        (GOLD, "bananas", "unit-unknown"),
        (Figure(12.0, 10.0, 15.0, "USD"), "EUR", "unit-fixed"),
    ],
)
def test_units_that_do_not_fit(figure: Figure, unit: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        figure.to(unit)
    assert caught.value.code == code


amounts = st.floats(0.001, 1e9)


@given(amounts, amounts, amounts)
def test_a_figure_is_its_range_with_a_unit(a: float, b: float, c: float) -> None:
    low, median, high = sorted((a, b, c))
    figure = Figure.of(Range(median, low, high, 0.8), "mg")
    assert figure.to_dict() == {"median": median, "low": low, "high": high, "level": 0.8, "unit": "mg"}
    assert figure == Figure(**figure.to_dict())
