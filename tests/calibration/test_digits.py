"""Numbers in messages are such as people write."""

import re

from hypothesis import given
from hypothesis import strategies as st

from calibration.digits import as_given


@given(st.floats(-1e12, 1e12, allow_nan=False))
def test_a_value_is_told_to_six_digits_and_never_as_a_power_of_ten(value: float) -> None:
    told = as_given(value)
    assert re.fullmatch(r"−?\d+(\.\d*[1-9])?", told)
    assert abs(float(told.replace("−", "-")) - value) <= 5.001e-6 * abs(value)


def test_values_as_typed_by_hand() -> None:
    assert [as_given(v) for v in (0.0, 1.0, 133.35, 1e-5, 2.5e7, -0.5)] == [
        "0", "1", "133.35", "0.00001", "25000000", "−0.5",
    ]  # fmt: skip
