"""The number of boards in a photo: its range, and its way through JSON."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.board_count import BoardCount

CHANCES = st.dictionaries(st.integers(0, 30), st.floats(0.01, 1.0), min_size=1, max_size=12)


@settings(max_examples=60)
@given(CHANCES)
def test_the_range_holds_nine_in_ten_and_its_median(chances: dict[int, float]) -> None:
    count = BoardCount.of(chances)
    assert 1 <= count.low <= count.value <= count.high
    assert sum(p for n, p in count.chances if count.low <= n <= count.high) >= 0.9 - 1e-9
    assert sum(p for _, p in count.chances) == pytest.approx(1.0)


@settings(max_examples=60)
@given(CHANCES)
def test_json_gives_the_same_count(chances: dict[int, float]) -> None:
    count = BoardCount.of(chances)
    again = BoardCount.from_json(count.as_json())
    assert [n for n, _ in again.chances] == [n for n, _ in count.chances]
    assert [p for _, p in again.chances] == pytest.approx([p for _, p in count.chances], abs=2e-3)


def test_words_say_how_sure_it_is() -> None:
    assert BoardCount.exactly(1).words() == "1 board"
    assert BoardCount.of({4: 0.2, 5: 0.6, 6: 0.2}).words() == "5 boards (4 to 6)"
    assert BoardCount.of({5: 0.97, 6: 0.03}).words() == "5 boards"


def test_it_is_sure_where_it_may_be_divided_by() -> None:
    assert BoardCount.of({4: 0.2, 5: 0.6, 6: 0.2}).is_sure
    assert not BoardCount.of({2: 0.3, 3: 0.3, 5: 0.4}).is_sure


def test_a_lot_holds_no_fewer_boards_than_its_photos_show() -> None:
    count = BoardCount.of({4: 0.25, 5: 0.5, 6: 0.25})
    assert count.up_to(5) == BoardCount.of({4: 1.0, 5: 2.0})
    assert count.up_to(3) is None


@pytest.mark.parametrize(
    "data",
    [{}, {"chances": []}, {"chances": {"0": 1.0}}, {"chances": {"1": 0.4}}, {"chances": {"1": -1.0, "2": 2.0}},
     {"chances": {"x": 1.0}}, {"chances": {"1": None}}, {"chances": {"1": float("nan")}}, {"chances": {}}],
)  # fmt: skip
def test_what_is_no_count_is_refused(data: Any) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - the caller says which file it was
        BoardCount.from_json(data)
