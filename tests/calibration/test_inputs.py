from __future__ import annotations

import json
import math
import pickle
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from calibration.distributions import KINDS, Distribution
from calibration.errors import DataFileError
from calibration.inputs import Input, draw_all

N = 100_000
Z = 4.5  # standard errors that a fixed-seed draw may be off: 1 in 150 000


@dataclass(frozen=True)
class Reference:
    """A distribution as scipy.stats has it: its cumulative curve and its raw moments."""

    cdf: Callable[[NDArray[np.float64]], NDArray[np.float64]]
    moment: Callable[[int], float]

    @staticmethod
    def of(frozen: stats.rv_continuous) -> Reference:
        return Reference(frozen.cdf, lambda k: float(frozen.moment(k)))


def trapezoid_log(low: float, core_low: float, core_high: float, high: float) -> Reference:
    a, b, c, d = np.log([low, core_low, core_high, high])
    log = stats.trapezoid((b - a) / (d - a), (c - a) / (d - a), loc=a, scale=d - a)
    return Reference(lambda x: log.cdf(np.log(x)), lambda k: float(log.expect(lambda t: np.exp(k * t))))


def mixture(weight: float, *parameters: float) -> Reference:
    one, two = (stats.lognorm(s, scale=m) for m, s in (parameters[:2], parameters[2:]))
    return Reference(
        lambda x: weight * one.cdf(x) + (1 - weight) * two.cdf(x),
        lambda k: float(weight * one.moment(k) + (1 - weight) * two.moment(k)),
    )


def mixture_of(*parts: tuple[float, float, float]) -> Reference:
    each = [(w, stats.lognorm(s, scale=m)) for w, m, s in parts]
    return Reference(
        lambda x: sum(w * one.cdf(x) for w, one in each), lambda k: float(sum(w * one.moment(k) for w, one in each))
    )


def logit_normal(median: float, sd: float) -> Reference:
    logit = stats.norm(np.log(median / (1 - median)), sd)
    return Reference(
        lambda x: logit.cdf(np.log(x / (1 - x))), lambda k: float(logit.expect(lambda t: (1 / (1 + np.exp(-t))) ** k))
    )


def cut_log_student(median: float, scale: float, degrees: float, reach: float) -> Reference:
    whole = stats.t(degrees, 0.0, scale)
    inside = whole.cdf(reach) - whole.cdf(-reach)
    return Reference(
        lambda x: (whole.cdf(np.clip(np.log(x / median), -reach, reach)) - whole.cdf(-reach)) / inside,
        lambda k: float(median**k * whole.expect(lambda t: np.exp(k * t), lb=-reach, ub=reach, conditional=True)),
    )


CASES = {
    "normal": (Distribution("normal", (1.234, 0.02)), Reference.of(stats.norm(1.234, 0.02))),
    "normal about its sd": (Distribution("normal", (1.0, 1.0)), Reference.of(stats.norm(1, 1))),
    "uniform": (Distribution("uniform", (1.1, 1.3)), Reference.of(stats.uniform(1.1, 0.2))),
    "triangular": (Distribution("triangular", (-1, 0.5, 4)), Reference.of(stats.triang(0.3, -1, 5))),
    "triangular, mode at its end": (Distribution("triangular", (0, 2, 2)), Reference.of(stats.triang(1, 0, 2))),
    "lognormal": (Distribution("lognormal", (0.66, 0.49)), Reference.of(stats.lognorm(0.49, scale=0.66))),
    "loguniform": (Distribution("loguniform", (0.03, 1.5)), Reference.of(stats.loguniform(0.03, 1.5))),
    "trapezoid_log": (
        Distribution("trapezoid_log", (0.02, 0.05, 0.125, 0.25)),
        trapezoid_log(0.02, 0.05, 0.125, 0.25),
    ),
    "trapezoid_log, no slopes": (Distribution("trapezoid_log", (1, 1, 3, 3)), Reference.of(stats.loguniform(1, 3))),
    "trapezoid_log, no core": (Distribution("trapezoid_log", (1, 2, 2, 5)), trapezoid_log(1, 2, 2, 5)),
    "lognormal_mixture": (
        Distribution("lognormal_mixture", (0.7, 0.66, 0.49, 0.08, 0.3)),
        mixture(0.7, 0.66, 0.49, 0.08, 0.3),
    ),
    "lognormals": (
        Distribution("lognormals", (0.6, 0.76, 0.4, 0.1, 0.3, 0.45, 0.3, 0.09, 0.45)),
        mixture_of((0.6, 0.76, 0.4), (0.1, 0.3, 0.45), (0.3, 0.09, 0.45)),
    ),
    "logit_normal": (Distribution("logit_normal", (0.18, 1.0)), logit_normal(0.18, 1.0)),
    "log_student_t": (
        Distribution("log_student_t", (0.9, 0.3, 3.0, 1.2)),
        cut_log_student(0.9, 0.3, 3.0, 1.2),
    ),
}


def draws_of(distribution: Distribution, n: int = N) -> NDArray[np.float64]:
    return distribution.sample(np.random.default_rng(7), n)


@pytest.mark.parametrize("case", CASES)
def test_draws_follow_the_distribution(case: str) -> None:
    distribution, reference = CASES[case]
    draws = draws_of(distribution)
    assert stats.kstest(draws, reference.cdf).pvalue > 1e-4
    for q in (0.01, 0.05, 0.5, 0.95, 0.99):
        assert reference.cdf(np.quantile(draws, q)) == pytest.approx(q, abs=Z * math.sqrt(q * (1 - q) / N))


@pytest.mark.parametrize("case", CASES)
def test_draws_have_the_moments_of_the_distribution(case: str) -> None:
    distribution, reference = CASES[case]
    draws = draws_of(distribution)
    m1, m2, m3, m4 = (reference.moment(k) for k in (1, 2, 3, 4))
    variance = m2 - m1**2
    fourth = m4 - 4 * m1 * m3 + 6 * m1**2 * m2 - 3 * m1**4
    assert np.mean(draws) == pytest.approx(m1, abs=Z * math.sqrt(variance / N))
    assert np.var(draws) == pytest.approx(variance, abs=Z * math.sqrt((fourth - variance**2) / N))


def test_every_kind_is_checked_against_scipy_or_is_exact() -> None:
    assert {d.kind for d, _ in CASES.values()} | {"constant", "sample", "either"} == set(KINDS)


def test_a_constant_is_constant() -> None:
    assert (draws_of(Distribution("constant", (2.5,)), 10) == 2.5).all()


def test_either_is_one_as_often_as_its_chance_says_and_at_the_upper_chances() -> None:
    known = Distribution("either", (0.3,))
    assert known.at(np.array([0.0, 0.69, 0.71, 1.0])).tolist() == [0, 0, 1, 1]
    assert draws_of(known).mean() == pytest.approx(0.3, abs=Z * math.sqrt(0.21 / N))


def test_a_mixture_takes_its_parts_in_their_order() -> None:
    known = Distribution("lognormals", (0.5, 1.0, 0.0, 0.3, 2.0, 0.0, 0.2, 3.0, 0.0))
    assert known.at(np.array([0.0, 0.49, 0.51, 0.79, 0.81, 1.0])) == pytest.approx([1, 1, 2, 2, 3, 3])


def test_a_sample_gives_its_values_equally_often() -> None:
    values, counts = np.unique(draws_of(Distribution("sample", (1.0, 5.0, 2.0))), return_counts=True)
    assert values.tolist() == [1.0, 2.0, 5.0]
    assert stats.chisquare(counts).pvalue > 1e-4


POINTS = [
    ("constant", (0.0,)),
    ("normal", (3.0, 0.0)),
    ("uniform", (2.0, 2.0)),
    ("triangular", (2.0, 2.0, 2.0)),
    ("lognormal", (0.5, 0.0)),
    ("loguniform", (2.0, 2.0)),
    ("trapezoid_log", (2.0, 2.0, 2.0, 2.0)),
    ("lognormal_mixture", (0.3, 2.0, 0.0, 2.0, 0.0)),
    ("lognormal_mixture", (1.0, 2.0, 0.0, 3.0, 0.5)),
    ("lognormal_mixture", (0.0, 2.0, 0.5, 3.0, 0.0)),
    ("log_student_t", (2.0, 0.0, 3.0, 1.0)),
    ("lognormals", (0.4, 2.0, 0.0, 0.6, 2.0, 0.0)),
    ("lognormals", (0.0, 3.0, 0.5, 1.0, 2.0, 0.0)),
    ("logit_normal", (0.3, 0.0)),
    ("either", (1.0,)),
    ("sample", (4.0, 4.0)),
]
SPREADS = [
    *((d.kind, d.parameters) for d, _ in CASES.values()),
    ("lognormal", (0.5, 0.5)),
    ("lognormal_mixture", (0.5, 0.5, 0.5, 0.5, 0.5)),
    ("lognormal_mixture", (0.5, 1.0, 0.0, 2.0, 0.0)),
    ("sample", (4.0, 5.0)),
]


@pytest.mark.parametrize(("kind", "parameters"), [*POINTS, *SPREADS])
def test_is_constant_says_whether_draws_differ(kind: str, parameters: tuple[float, ...]) -> None:
    distribution = Distribution(kind, parameters)
    assert distribution.is_constant == (np.ptp(draws_of(distribution, 100)) < 1e-12)
    assert distribution.is_constant == ((kind, parameters) in POINTS)


@pytest.mark.parametrize(
    ("kind", "parameters"),
    [
        ("constant", ()),
        ("constant", (math.nan,)),
        ("constant", (math.inf,)),
        ("normal", (0.0, -1.0)),
        ("normal", (0.0,)),
        ("uniform", (2.0, 1.0)),
        ("triangular", (0.0, 3.0, 2.0)),
        ("triangular", (0.0, -1.0, 2.0)),
        ("lognormal", (0.0, 0.5)),
        ("lognormal", (1.0, -0.5)),
        ("loguniform", (0.0, 1.0)),
        ("loguniform", (2.0, 1.0)),
        ("trapezoid_log", (0.0, 1.0, 2.0, 3.0)),
        ("trapezoid_log", (1.0, 3.0, 2.0, 4.0)),
        ("lognormal_mixture", (1.1, 1.0, 0.1, 1.0, 0.1)),
        ("lognormal_mixture", (-0.1, 1.0, 0.1, 1.0, 0.1)),
        ("lognormal_mixture", (0.5, 0.0, 0.1, 1.0, 0.1)),
        ("lognormal_mixture", (0.5, 1.0, 0.1, 1.0, -0.1)),
        ("log_student_t", (0.0, 0.1, 3.0, 1.0)),
        ("log_student_t", (1.0, -0.1, 3.0, 1.0)),
        ("log_student_t", (1.0, 0.1, 0.0, 1.0)),
        ("log_student_t", (1.0, 0.3, 3.0, 0.2)),
        ("lognormals", ()),
        ("lognormals", (0.5, 1.0, 0.1, 0.5, 1.0)),
        ("lognormals", (0.5, 1.0, 0.1, 0.4, 1.0, 0.1)),
        ("lognormals", (1.5, 1.0, 0.1, -0.5, 1.0, 0.1)),
        ("lognormals", (1.0, 0.0, 0.1)),
        ("lognormals", (1.0, 1.0, -0.1)),
        ("logit_normal", (0.0, 1.0)),
        ("logit_normal", (1.0, 1.0)),
        ("logit_normal", (0.5, -1.0)),
        ("either", (-0.1,)),
        ("either", (1.1,)),
        ("sample", ()),
        ("sample", (1.0, math.nan)),
    ],
)
def test_impossible_parameters_are_refused(kind: str, parameters: tuple[float, ...]) -> None:
    with pytest.raises(DataFileError) as caught:
        Distribution(kind, parameters)
    assert caught.value.code == "distribution-invalid"


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(DataFileError) as caught:
        Distribution("dice", (1.0,))
    assert caught.value.code == "distribution-unknown"


finite = st.floats(-1e6, 1e6)
positive = st.floats(1e-6, 1e6)
spread = st.floats(0, 5)


def ascending(numbers: st.SearchStrategy[float], count: int) -> st.SearchStrategy[tuple[float, ...]]:
    return st.lists(numbers, min_size=count, max_size=count).map(lambda xs: tuple(sorted(xs)))


distributions = st.one_of(
    st.builds(Distribution, st.just("constant"), st.tuples(finite)),
    st.builds(Distribution, st.just("normal"), st.tuples(finite, positive)),
    st.builds(Distribution, st.just("uniform"), ascending(finite, 2)),
    st.builds(Distribution, st.just("triangular"), ascending(finite, 3)),
    st.builds(Distribution, st.just("lognormal"), st.tuples(positive, spread)),
    st.builds(Distribution, st.just("loguniform"), ascending(positive, 2)),
    st.builds(Distribution, st.just("trapezoid_log"), ascending(positive, 4)),
    st.builds(
        Distribution, st.just("lognormal_mixture"), st.tuples(st.floats(0, 1), positive, spread, positive, spread)
    ),
    st.builds(Distribution, st.just("sample"), st.lists(finite, min_size=1, max_size=5).map(tuple)),
)


@given(distributions)
def test_draws_are_finite_and_stay_where_they_may_be(distribution: Distribution) -> None:
    draws = draws_of(distribution, 50)
    assert draws.shape == (50,)
    assert draws.dtype == np.float64
    assert np.isfinite(draws).all()
    if distribution.kind in ("uniform", "triangular", "loguniform", "trapezoid_log", "sample"):
        low, high = min(distribution.parameters), max(distribution.parameters)
        margin = 1e-9 * max(abs(low), abs(high))
        assert low - margin <= draws.min()
        assert draws.max() <= high + margin
    if distribution.kind in ("lognormal", "lognormal_mixture"):
        assert draws.min() > 0


@given(distributions, st.text().filter(lambda name: name[:1] not in ("", ":")), st.text())
def test_inputs_survive_json_and_pickling(distribution: Distribution, name: str, unit: str) -> None:
    given_input = Input.named(name, "a title", distribution, "a source", unit)
    assert Distribution.from_json(json.loads(json.dumps(distribution.as_json()))) == distribution
    assert Input.from_json(json.loads(json.dumps(given_input.as_json()))) == given_input
    assert pickle.loads(pickle.dumps(given_input)) == given_input


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"kind": "normal"},
        {"kind": "normal", "parameters": 3},
        {"kind": "normal", "parameters": ["x", "y"]},
        {"kind": "normal", "parameters": [None, 1]},
        {"kind": "normal", "parameters": [1, -1]},
        [],
        None,
    ],
)
def test_json_that_is_no_distribution_is_refused(data: object) -> None:
    with pytest.raises(DataFileError):
        Distribution.from_json(data)  # type: ignore[arg-type]
    with pytest.raises(DataFileError):
        Input.from_json({"name": "a", "title": "a", "source": "a", "distribution": data})


@pytest.mark.parametrize("missing", ["name", "title", "distribution", "source"])
def test_json_of_an_incomplete_input_is_refused(missing: str) -> None:
    data = Input("a", "a", Distribution("constant", (1.0,)), "a").as_json()
    del data[missing]
    with pytest.raises(DataFileError):
        Input.from_json(data)


def normal(name: str) -> Input:
    return Input.named(name, "an input", Distribution("normal", (0.0, 1.0)), "test")


def test_draws_are_the_same_for_the_same_name_in_any_process() -> None:
    program = (
        "from calibration.inputs import Distribution, Input\n"
        "i = Input.named('scale:3fa9c1', 'another title', Distribution('normal', (0.0, 1.0)), 'elsewhere')\n"
        "print(i.draws(1000, 5).tobytes().hex())"
    )
    elsewhere = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert elsewhere.stdout.strip() == normal("scale:3fa9c1").draws(1000, 5).tobytes().hex()


def test_draws_are_independent_between_names_and_seeds() -> None:
    inputs = [normal(name).draws(N) for name in ("a", "b", "scale:1", "scale:2", "thickness:hard_gold")]
    inputs.append(normal("a").draws(N, seed=1))
    for one, two in combinations(inputs, 2):
        assert abs(np.corrcoef(one, two)[0, 1]) < Z / math.sqrt(N)


def test_draw_all_gives_each_input_its_own_draws() -> None:
    drawn = draw_all({"x": normal("a"), "y": normal("b"), "z": normal("a")}, 100, 3)
    np.testing.assert_array_equal(drawn["x"], normal("a").draws(100, 3))
    np.testing.assert_array_equal(drawn["x"], drawn["z"])
    assert (drawn["x"] != drawn["y"]).all()


# --- what is read stays within bounds


@pytest.mark.parametrize(
    ("kind", "parameters"),
    [
        ("constant", (1e31,)), ("constant", (-1e31,)), ("normal", (0.0, 1e30)), ("uniform", (-1e308, 1e308)),
        ("triangular", (0.0, 1.0, 1e31)), ("lognormal", (1.0, 1000.0)), ("lognormal", (1e31, 0.0)),
        ("loguniform", (1.0, 1e31)), ("trapezoid_log", (1.0, 2.0, 3.0, 1e31)),
        ("lognormal_mixture", (0.5, 1.0, 0.1, 1.0, 1000.0)), ("log_student_t", (1.0, 0.1, 4.0, 1000.0)),
        ("log_student_t", (1.0, 1.0, 1e-9, 2.0)), ("sample", (1.0, 1e31)), ("lognormals", (1.0, 1.0, 1000.0)),
    ],
)  # fmt: skip
def test_a_distribution_beyond_all_bounds_is_refused(kind: str, parameters: tuple[float, ...]) -> None:
    with pytest.raises(DataFileError) as caught:
        Distribution(kind, parameters)
    assert caught.value.code == "distribution-invalid"


@pytest.mark.parametrize(
    ("kind", "parameters"),
    [
        ("constant", (-3.0,)), ("normal", (-2.0, 3.0)), ("uniform", (-5.0, 2.0)), ("triangular", (1.0, 2.0, 9.0)),
        ("lognormal", (2.0, 1.5)), ("loguniform", (0.1, 10.0)), ("trapezoid_log", (0.1, 1.0, 2.0, 30.0)),
        ("lognormal_mixture", (0.5, 1.0, 0.1, 5.0, 1.0)), ("log_student_t", (1.0, 0.1, 0.5, 3.0)),
        ("sample", (1.0, -7.0, 3.0)), ("lognormals", (0.5, 1.0, 0.1, 0.5, 5.0, 1.0)), ("logit_normal", (0.9, 3.0)),
        ("either", (0.5,)),
    ],
)  # fmt: skip
def test_no_draw_lies_beyond_the_reach(kind: str, parameters: tuple[float, ...]) -> None:
    known = Distribution(kind, parameters)
    draws = np.abs(known.sample(np.random.default_rng(3), N))
    assert draws.max() <= known.reach * (1 + 1e-12)


@pytest.mark.parametrize("number", [10**400, -(10**400)])
def test_a_whole_number_of_hundreds_of_digits_is_no_parameter(number: int) -> None:
    with pytest.raises(DataFileError):
        Distribution.from_json({"kind": "constant", "parameters": [number]})
