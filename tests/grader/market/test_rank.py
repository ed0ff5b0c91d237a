"""A budget buys what pays, within the money and the accepted losses."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from grader.market.page import market_csv, market_html, table_rows
from grader.market.rank import Ranked, spread

LISTINGS = st.lists(
    st.builds(
        Ranked,
        name=st.text(max_size=5),
        pictures=st.just(1),
        measured=st.just(1),
        currency=st.just("USD"),
        asking=st.none() | st.floats(1, 100),
        margin=st.none() | st.floats(-50, 50),
        chance_of_loss=st.floats(0, 1),
    ),
    max_size=12,
)


@given(LISTINGS, st.floats(0, 300), st.floats(0.01, 0.5))
def test_money_and_losses_stay_within_bounds(listings: list[Ranked], budget: float, accepted: float) -> None:
    done = spread(listings, budget, accepted)
    bought = [one for one in done if one.buy]
    assert [one.name for one in done] == [one.name for one in listings]
    assert sum(one.asking or 0 for one in bought) <= budget
    assert all(one.margin is not None and one.margin > 0 for one in bought)
    if bought:
        assert sum(one.chance_of_loss or 0 for one in bought) / len(bought) <= accepted * (1 + 1e-9)


def test_a_risky_listing_is_bought_where_the_others_are_safe() -> None:
    safe = [Ranked(f"s{i}", 1, 1, "USD", asking=10.0, margin=8.0, chance_of_loss=0.0) for i in range(3)]
    risky = Ranked("r", 1, 1, "USD", asking=10.0, margin=5.0, chance_of_loss=0.3)
    assert [one.buy for one in spread([*safe, risky], 100.0, 0.1)] == [True] * 4
    assert [one.buy for one in spread([risky], 100.0, 0.1)] == [False]
    assert [one.buy for one in spread([*safe, risky], 20.0, 0.1)] == [True, True, False, False]


def test_names_are_escaped_and_no_formulas() -> None:
    one = Ranked("=1+<b>", 2, 1, "USD", bid=12.0, ask=("what?",), notes=("n",), buy=True, thumbnails=("AAAA",))
    page = market_html([one], "Listings")
    assert "<b>" not in page
    assert "=1+&lt;b&gt;" in page
    assert "data:image/jpeg;base64,AAAA" in page
    assert market_csv([one]).splitlines()[1].startswith("'=1+<b>,2,1,USD,12.0,,")
    assert table_rows([one])[0][-1] == "what?"
