from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.thickness import gold_properties
from grader.budget import TOGETHER, BudgetLine, budget
from grader.gold import gold_mass
from grader.model import EMPTY, ProductModel, Range, Term

N = 100_000


def made(name: str, kind: str, *parameters: float) -> Input:
    return Input.named(name, f"the {name}", Distribution(kind, parameters), "test")


def model(terms: list[tuple[float, tuple[str, ...]]], *inputs: Input) -> ProductModel:
    return ProductModel(tuple(Term(c, f) for c, f in terms), {i.name: i for i in inputs})


def shares(lines: tuple[BudgetLine, ...]) -> dict[str, float]:
    return {line.input: line.share_of_variance for line in lines}


def test_shares_of_a_sum_are_its_variances() -> None:
    lines = budget(
        model([(1, ("a",)), (2, ("b",)), (7, ())], made("a", "normal", 5, 3), made("b", "normal", -2, 2)), N
    )
    # relative standard error of a variance from N draws: sqrt(2 / N) = 0.45 %
    assert shares(lines)["b"] == pytest.approx(16 / 25, abs=0.01)
    assert shares(lines)["a"] == pytest.approx(9 / 25, abs=0.01)
    assert shares(lines)[TOGETHER] == pytest.approx(0, abs=1e-9)


def test_shares_of_a_product_follow_its_exact_variance() -> None:
    """Var(XY) = mx² vy + my² vx + vx vy for independent X and Y (Goodman, J. Am. Stat. Assoc. 55 (1960) 708)."""
    lines = budget(model([(4, ("x", "y"))], made("x", "normal", 3, 1), made("y", "uniform", 0, 2)), N)
    total = 3**2 / 3 + 1 + 1 / 3
    assert shares(lines)["y"] == pytest.approx(3 / total, abs=0.01)
    assert shares(lines)["x"] == pytest.approx(1 / total, abs=0.01)
    assert shares(lines)[TOGETHER] == pytest.approx(1 / 3 / total, abs=0.005)


def test_an_input_that_acts_only_with_another_is_counted_as_together() -> None:
    lines = budget(model([(1, ("x", "y"))], made("x", "normal", 0, 1), made("y", "normal", 0, 1)), N)
    assert shares(lines)[TOGETHER] == pytest.approx(1, abs=0.001)


def test_powers_of_one_input_are_its_own() -> None:
    lines = budget(model([(1, ("x", "x")), (2, ("x",))], made("x", "normal", 1, 1)), N)
    assert shares(lines) == {"x": pytest.approx(1), TOGETHER: pytest.approx(0, abs=1e-9)}


def test_terms_that_cancel_leave_nothing() -> None:
    x = made("x", "normal", 1, 1)
    assert budget(model([(1, ("x",)), (-1, ("x",))], x)) == ()


def test_shared_inputs_add_up_before_they_are_squared() -> None:
    scale, a, b = made("scale", "normal", 1, 0.01), made("a", "normal", 1, 0.01), made("b", "normal", 1, 0.01)
    lines = budget(model([(100, ("scale", "a")), (100, ("scale", "b"))], scale, a, b), N)
    assert shares(lines)["scale"] == pytest.approx(4 / 6, abs=0.01)
    assert shares(lines)["a"] == pytest.approx(1 / 6, abs=0.01)


def test_constants_have_no_line_and_a_constant_model_no_budget() -> None:
    two, x = made("two", "constant", 2), made("x", "normal", 1, 1)
    assert set(shares(budget(model([(3, ("two", "x"))], two, x)))) == {"x", TOGETHER}
    assert budget(model([(3, ("two",))], two)) == ()
    assert budget(EMPTY) == ()
    assert budget(model([(3, ())], x)) == ()


def test_swings_are_the_quantity_at_the_inputs_ends() -> None:
    x, y = made("x", "uniform", 0, 10), made("y", "lognormal", 2, 0.5)
    lines = {line.input: line for line in budget(model([(3, ("x", "y"))], x, y), N)}
    z = 1.644853627
    # N draws know the quantiles to well under 1 %
    assert lines["x"].swing_low == pytest.approx(3 * 0.5 * 2, rel=0.02)
    assert lines["x"].swing_high == pytest.approx(3 * 9.5 * 2, rel=0.02)
    assert lines["y"].swing_low == pytest.approx(3 * 5 * 2 * math.exp(-z / 2), rel=0.02)
    assert lines["y"].swing_high == pytest.approx(3 * 5 * 2 * math.exp(z / 2), rel=0.02)
    assert (lines[TOGETHER].swing_low, lines[TOGETHER].swing_high) == (None, None)


def test_a_line_reads_as_json() -> None:
    line = budget(model([(1, ("x",))], made("x", "normal", 1, 1)))[0]
    assert line.as_json() == {"input": "x", "title": "the x", "share_of_variance": pytest.approx(1)}


POOL = [
    made("a", "normal", 1, 0.1),
    made("b", "uniform", 0.5, 1.5),
    made("c", "lognormal_mixture", 0.9, 0.66, 0.49, 0.08, 0.7),
    made("d", "normal", 0, 1),
    made("e", "constant", 3),
    made("f", "triangular", 16.5, 17.3, 19.3),
]
models = st.lists(
    st.tuples(
        st.floats(-100, 100).filter(lambda c: abs(c) > 1e-3),
        st.lists(st.sampled_from([i.name for i in POOL]), max_size=4).map(tuple),
    ),
    min_size=1,
    max_size=6,
).map(lambda terms: model(terms, *POOL))


@given(models)
@settings(deadline=None)
def test_shares_are_shares(any_model: ProductModel) -> None:
    lines = budget(any_model, 2000)
    if not lines:
        return
    given_shares = [line.share_of_variance for line in lines]
    assert min(given_shares) >= 0
    assert math.fsum(given_shares) == pytest.approx(1, abs=1e-9)
    assert lines[-1].input == TOGETHER
    assert given_shares[:-1] == sorted(given_shares[:-1], reverse=True)


@given(models, st.floats(0.01, 100))
@settings(deadline=None)
def test_shares_do_not_depend_on_the_unit_of_the_quantity(any_model: ProductModel, k: float) -> None:
    one, other = shares(budget(any_model, 2000)), shares(budget(any_model.times((), k), 2000))
    assert one == pytest.approx(other, abs=1e-6)


def test_the_total_is_the_variance_of_the_draws() -> None:
    """The shares are of the variance that the range itself shows, up to chance correlation of the draws."""
    x, y = made("x", "lognormal", 1, 0.5), made("y", "normal", 1, 0.1)
    lines = budget(model([(1, ("x", "y"))], x, y), N)
    own = float(np.var(x.draws(N)) * np.mean(y.draws(N)) ** 2)
    total = float(np.var(model([(1, ("x", "y"))], x, y).draws(N)))
    assert shares(lines)["x"] == pytest.approx(own / total, rel=0.02)


def test_thickness_leads_the_budget_of_gold() -> None:
    scale = made("scale", "normal", 1, 0.01)
    estimate = gold_mass({"hard_gold": model([(425.7, ("scale",))], scale)}, gold_properties())
    lines = budget(estimate.total)
    assert lines[0].input == "thickness:hard_gold"
    assert lines[0].share_of_variance > 0.95
    whole = Range.of(estimate.total.draws())
    assert lines[0].swing_low == pytest.approx(whole.low, rel=0.1)
    assert lines[0].swing_high == pytest.approx(whole.high, rel=0.1)


def together(name: str, values: np.ndarray, title: str) -> Input:
    """One of several samples that are drawn side by side."""
    return Input("t", title, Distribution("sample", tuple(values)), "test", aligned_over=name, of=(name, "rest"))


def test_inputs_drawn_together_have_one_share_that_counts_their_covariance() -> None:
    """Y = c + 2 a + 3 b with Var(a) = Var(b) = 1 and correlation r: the pair's part is 4 + 9 + 12 r, c's is 4."""
    rng = np.random.default_rng(3)
    for r in (-0.9, 0.0, 0.9):
        a, rest = rng.standard_normal((2, 4000))
        pair = together("a", a, "width of a"), together("b", r * a + math.sqrt(1 - r**2) * rest, "width of b")
        c = made("c", "normal", 0, 2)
        terms: list[tuple[float, tuple[str, ...]]] = [(2, ("t:a:rest",)), (3, ("t:b:rest",)), (1, ("c",))]
        lines = {line.title: line for line in budget(model(terms, *pair, c), N)}
        joint = 13 + 12 * r
        assert lines["width of a, b"].share_of_variance == pytest.approx(joint / (joint + 4), abs=0.02)
        assert lines["width of a, b"].input == "t"
        assert lines["the c"].share_of_variance == pytest.approx(4 / (joint + 4), abs=0.02)
        # the ends of a normal quantity of that variance
        assert lines["width of a, b"].swing_high == pytest.approx(1.645 * math.sqrt(joint), rel=0.05)


def test_a_product_of_inputs_drawn_together_is_their_own() -> None:
    """Y = a b c with a = b: E[Y | a, b] = a² E[c], of variance 2 for a standard normal a; c has the mean 1, sd 0.5.

    Var(Y) = E[a⁴] E[c²] - 1 = 3 × 1.25 - 1 = 2.75, c's own part is Var(c) E[a²]² = 0.25.
    """
    a = np.random.default_rng(4).standard_normal(20_000)
    lines = budget(
        model(
            [(1, ("t:a:rest", "t:b:rest", "c"))],
            together("a", a, "a"),
            together("b", a, "b"),
            made("c", "normal", 1, 0.5),
        ),
        N,
    )
    by_name = shares(lines)
    assert by_name["t"] == pytest.approx(2 / 2.75, abs=0.02)
    assert by_name["c"] == pytest.approx(0.25 / 2.75, abs=0.01)
    assert by_name[TOGETHER] == pytest.approx(0.5 / 2.75, abs=0.01)


def test_inputs_of_one_title_are_one_line() -> None:
    first, second = (
        Input("segmentation", "telling gold apart", Distribution("normal", (1.0, 0.1)), "test", of=(photo,))
        for photo in ("one", "two")
    )
    lines = budget(
        model([(30, (first.name,)), (40, (second.name,)), (10, ("x",))], first, second, made("x", "normal", 0, 0.5)),
        N,
    )
    assert shares(lines) == {
        "segmentation": pytest.approx(0.5, abs=0.01),
        "x": pytest.approx(0.5, abs=0.01),
        TOGETHER: pytest.approx(0, abs=1e-3),
    }
    # standard deviation (3² + 4²)^1/2 = 5 about 70
    assert lines[0].title != lines[1].title
    by_name = {line.input: line for line in lines}
    assert by_name["segmentation"].swing_low == pytest.approx(70 - 1.645 * 5, rel=0.01)


@pytest.mark.parametrize(
    ("titles", "said"),
    [
        (("width of a", "width of b"), "width of a, b"),
        (("width", "width of b"), "width, width of b"),
        (("length", "width of b"), "length, width of b"),
        (("width of a", "width of a"), "width of a"),
        (("a wide gap", "a wide row of pads"), "a wide gap, row of pads"),
    ],
)
def test_titles_of_inputs_drawn_together_are_joined_where_they_begin_alike(
    titles: tuple[str, str], said: str
) -> None:
    a, b = (together(n, np.array([0.0, 1.0]), t) for n, t in zip("ab", titles, strict=True))
    assert budget(model([(2, (a.name,)), (3, (b.name,))], a, b))[0].title == said


def test_a_group_is_named_by_what_its_inputs_begin_with_or_by_all_of_them() -> None:
    alike = [Input.named(f"t:{n}:rest", "same", Distribution("normal", (0.0, 1.0)), "test") for n in "ab"]
    apart = [Input.named(n, "same", Distribution("normal", (0.0, 1.0)), "test") for n in ("one", "two:x")]
    for inputs, name in ((alike, "t"), (apart, "one + two:x")):
        assert budget(model([(1, (i.name,)) for i in inputs], *inputs))[0].input == name


def test_signs_of_two_terms_decide_how_they_add_up() -> None:
    """Y = 3 x - 2 x y with mean 1 of both: x has the slope 1, y the slope -2."""
    x, y = made("x", "normal", 1, 0.1), made("y", "normal", 1, 0.1)
    found = shares(budget(model([(3, ("x",)), (-2, ("x", "y"))], x, y), N))
    assert found["x"] == pytest.approx(1 / 5, abs=0.01)
    assert found["y"] == pytest.approx(4 / 5, abs=0.015)


def test_what_hangs_together_by_two_ties_is_one_group() -> None:
    """b has the title of a, and c is drawn with a: all three are one line, though b and c share nothing."""
    sample = Distribution("sample", (0.0, 1.0))
    a = Input("t", "one title", sample, "test", of=("a", "rest"), aligned_over="a")
    b = Input("other", "one title", Distribution("normal", (0.0, 1.0)), "test")
    c = Input("t", "another title", sample, "test", of=("c", "rest"), aligned_over="c")
    lines = budget(model([(1, (i.name,)) for i in (a, b, c)], a, b, c))
    assert len(lines) == 2
    assert lines[0].share_of_variance == pytest.approx(1.0)
