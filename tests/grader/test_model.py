from __future__ import annotations

import json
import math
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.inputs import Input, draw_all
from grader.model import EMPTY, ProductModel, Range, Term

N = 200
POOL = {
    i.name: i
    for i in (
        Input("scale", "scale", Distribution("normal", (1.0, 0.01)), "test"),
        Input("edges", "edges", Distribution("uniform", (0.9, 1.2)), "test"),
        Input("thickness", "thickness", Distribution("lognormal", (0.6, 0.5)), "test", "um"),
        Input("offset", "offset", Distribution("normal", (0.0, 1.0)), "test"),
    )
}
coefficients = st.floats(-1e3, 1e3)
inputs = st.sampled_from(list(POOL.values()))
terms = st.builds(Term, coefficients, st.lists(st.sampled_from(list(POOL)), max_size=3).map(tuple))
models = st.lists(terms, max_size=5).map(
    lambda ts: ProductModel(tuple(ts), {f: POOL[f] for t in ts for f in t.factors})
)


def draws(model: ProductModel) -> np.ndarray:
    return model.draws(N, 1)


def close(actual: np.ndarray, expected: np.ndarray) -> None:
    np.testing.assert_allclose(actual, expected, rtol=1e-9, atol=1e-6)


def test_draws_are_the_sum_of_the_products() -> None:
    model = ProductModel((Term(2.0, ("scale", "thickness")), Term(-3.0, ("offset", "offset")), Term(5.0, ())), POOL)
    x = draw_all(POOL, N, 1)
    close(draws(model), 2 * x["scale"] * x["thickness"] - 3 * x["offset"] ** 2 + 5)


@given(models, models)
def test_a_sum_has_the_sum_of_the_draws(a: ProductModel, b: ProductModel) -> None:
    close(draws(a + b), draws(a) + draws(b))
    close(draws(a + b), draws(b + a))


@given(models, models, models)
def test_sums_may_be_grouped_at_will(a: ProductModel, b: ProductModel, c: ProductModel) -> None:
    assert (a + b) + c == a + (b + c)


@given(models)
def test_empty_adds_nothing(a: ProductModel) -> None:
    assert a + EMPTY == a
    assert EMPTY + a == a
    assert (draws(EMPTY) == 0).all()


@given(models, st.lists(inputs, max_size=3), coefficients)
def test_times_multiplies_the_draws(a: ProductModel, factors: list[Input], k: float) -> None:
    product = k * np.prod([i.draws(N, 1) for i in factors], axis=0) if factors else k
    np.testing.assert_allclose(draws(a.times(factors, k)), draws(a) * product, rtol=1e-9, atol=1e-3)


@given(models, models, st.lists(inputs, max_size=2))
def test_times_spreads_over_sums(a: ProductModel, b: ProductModel, factors: list[Input]) -> None:
    assert (a + b).times(factors, 2.0) == a.times(factors, 2.0) + b.times(factors, 2.0)


@given(models)
def test_what_two_quantities_share_cancels(a: ProductModel) -> None:
    close(draws(a + a.times((), -1.0)), np.zeros(N))


def test_independent_errors_average_out_and_shared_errors_do_not() -> None:
    def board(name: str) -> ProductModel:
        edge = Input.named(name, "edge", Distribution("normal", (1.0, 0.1)), "test")
        return ProductModel((Term(100.0, (name,)),), {name: edge})

    n = 100_000
    apart = sum((board(f"edges:{i}") for i in range(16)), EMPTY).draws(n)
    alike = sum((board("scale") for _ in range(16)), EMPTY).draws(n)
    # relative standard error of a standard deviation from n draws: 1 / sqrt(2 n) = 0.2 %
    assert np.std(apart) == pytest.approx(4 * 10, rel=0.01)
    assert np.std(alike) == pytest.approx(16 * 10, rel=0.01)


@given(models)
def test_models_survive_json_and_pickling(a: ProductModel) -> None:
    assert ProductModel.from_json(json.loads(json.dumps(a.as_json()))) == a
    assert pickle.loads(pickle.dumps(a)) == a


def test_a_term_without_its_input_is_refused() -> None:
    with pytest.raises(DataFileError) as caught:
        ProductModel((Term(1.0, ("scale",)),), {})
    assert caught.value.code == "model-incomplete"


def test_one_name_for_two_things_is_refused() -> None:
    other = Input("scale", "scale", Distribution("normal", (1.0, 0.02)), "test")
    a = ProductModel((Term(1.0, ("scale",)),), POOL)
    b = ProductModel((Term(1.0, ("scale",)),), {"scale": other})
    data = a.as_json()
    data["inputs"].append(other.as_json())
    for attempt in (lambda: a + b, lambda: a.times([other]), lambda: ProductModel.from_json(data)):
        with pytest.raises(DataFileError) as caught:
            attempt()
        assert caught.value.code == "input-conflict"


def test_the_same_thing_told_in_other_words_is_one_input() -> None:
    other = Input("scale", "the scale", POOL["scale"].distribution, "another source")
    a = ProductModel((Term(1.0, ("scale",)),), POOL)
    close(draws(a + ProductModel((Term(1.0, ("scale",)),), {"scale": other})), 2 * draws(a))


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"terms": [], "inputs": None},
        {"terms": [{"coefficient": "x", "factors": []}], "inputs": []},
        {"terms": [{"factors": []}], "inputs": []},
        {"terms": [{"coefficient": 1, "factors": ["a"]}], "inputs": []},
        {"terms": [], "inputs": [{"name": "a"}]},
        [],
    ],
)
def test_json_that_is_no_model_is_refused(data: object) -> None:
    with pytest.raises(DataFileError):
        ProductModel.from_json(data)  # type: ignore[arg-type]


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=50), st.floats(0.01, 0.99))
def test_a_range_is_in_order_and_within_the_draws(values: list[float], level: float) -> None:
    found = Range.of(np.array(values), level)
    assert min(values) <= found.low <= found.value <= found.high <= max(values)
    assert found.level == level


def test_a_range_holds_its_share_of_the_draws() -> None:
    draws = np.arange(10_001.0)
    assert Range.of(draws, 0.9) == Range(5000, pytest.approx(500), pytest.approx(9500), 0.9)
    assert Range.of(draws).as_json() == {
        "value": 5000,
        "low": pytest.approx(500),
        "high": pytest.approx(9500),
        "level": 0.9,
    }


def test_a_model_whose_products_leave_all_bounds_is_refused() -> None:
    big = Input("big", "big", Distribution("constant", (1e20,)), "test")
    data = ProductModel((Term(1.0, ("big", "big")),), {"big": big}).as_json()
    with pytest.raises(DataFileError) as caught:
        ProductModel.from_json(data)
    assert caught.value.code == "model-invalid"
    for coefficient in (0.0, 1e-300):
        data["terms"][0]["coefficient"] = coefficient
        assert np.isfinite(ProductModel.from_json(data).draws(10)).all()
    for coefficient in (math.nan, math.inf, -math.inf, 10**400):
        data["terms"][0]["coefficient"] = coefficient
        with pytest.raises(DataFileError):
            ProductModel.from_json(data)
