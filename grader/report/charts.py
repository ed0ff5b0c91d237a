"""Pictures of an offer: profit against price, and how far each input swings it."""

from __future__ import annotations

from typing import Any

import altair as alt

from grader.units import format_money
from grader.valuation import Offer
from grader.valuation.words import swing_lines

# Blue and orange of one lightness, told apart by colour-blind eyes too, on light and dark ground.
_BAND, _LINE, _MARK = "#5b9bd5", "#2f7fc1", "#d9822b"
_HEIGHT_PX, _BAR_PX = 300, 46


def profit_chart(offer: Offer) -> alt.LayerChart:
    """Expected profit against price, with the band that holds nine cases of ten."""
    currency = offer.assumptions.currency
    points = [
        {
            "price": at.price,
            "expected": at.expected_profit,
            "low": at.worst_in_twenty,
            "high": at.best_in_twenty,
            "loss": at.chance_of_loss,
        }
        for at in offer.curve
    ]
    marks = [{"price": offer.highest.price, "what": "highest price worth paying"}]
    if offer.asking is not None:
        marks.append({"price": offer.asking.price, "what": "asking price"})
    price = alt.X("price:Q", title=f"Price paid to the seller, {currency}")
    base = alt.Chart(_rows(points))
    band = base.mark_area(opacity=0.3, color=_BAND).encode(
        x=price, y=alt.Y("low:Q", title=f"Profit, {currency}"), y2="high:Q"
    )
    line = base.mark_line(color=_LINE, strokeWidth=3).encode(
        x=price,
        y="expected:Q",
        tooltip=[
            alt.Tooltip("price:Q", format=".2f", title="price"),
            alt.Tooltip("expected:Q", format=".2f", title="expected profit"),
            alt.Tooltip("loss:Q", format=".0%", title="chance of a loss"),
        ],
    )
    zero = alt.Chart(_rows([{"y": 0}])).mark_rule(strokeDash=[4, 4]).encode(y="y:Q")
    rules = alt.Chart(_rows(marks)).mark_rule(color=_MARK, strokeWidth=2)
    named = rules.encode(
        x="price:Q",
        tooltip="what:N",
        strokeDash=alt.StrokeDash("what:N", title=None, legend=alt.Legend(orient="top", direction="vertical")),
    )
    return alt.LayerChart(layer=[band, line, zero, named], height=_HEIGHT_PX)


def swing_chart(offer: Offer) -> alt.LayerChart | None:
    """Profit from each input's low to its high end, the others at their medians; the widest bar first.

    None if no input swings it.
    """
    currency = offer.assumptions.currency
    bars = [
        {"input": title, "low": low, "high": high, "text": f"{_money(low, currency)} to {_money(high, currency)}"}
        for title, low, high in swing_lines(offer)
    ]
    if not bars:
        return None
    # names stand above their bars: beside them they would take half of a phone's width
    above = alt.Axis(labelAlign="left", labelOffset=-15, labelPadding=-4, labelLimit=330, ticks=False, domain=False)
    name = alt.Y("input:N", sort=None, title=None, axis=above)
    base = alt.Chart(_rows(bars)).encode(y=name, tooltip=["input:N", "text:N"])
    swing = base.mark_bar(color=_BAND, height=14, yOffset=6).encode(
        x=alt.X("low:Q", title=f"Profit, {currency}"), x2="high:Q"
    )
    zero = alt.Chart(_rows([{"x": 0}])).mark_rule(strokeDash=[4, 4]).encode(x="x:Q")
    return alt.LayerChart(layer=[swing, zero], height=_BAR_PX * len(bars) + 40)


def _rows(values: list[dict[str, Any]]) -> alt.Data:
    return alt.Data(values=values)  # type: ignore[no-untyped-call]


def _money(amount: float, currency: str) -> str:
    return format_money(amount, currency, abs(amount) / 5)
