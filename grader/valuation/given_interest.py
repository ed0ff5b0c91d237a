"""What a person types of money that is tied up: interest a year, and payment in parts."""

from __future__ import annotations

from calibration.errors import UsageError
from grader.units import parse_share, parse_weeks
from grader.units.estimates import named, share_estimate
from grader.valuation.entries import Interest, interest_input

_GIVEN = "given"


def given_interest(
    base: Interest | None, rate: str | None, paid_at_once: str | None, rest_after: str | None
) -> Interest | None:
    """The base's interest with what was typed in its place; what is None stays.

    Args:
        base: None if tied-up money costs nothing so far.
        rate: a year, "8 %" or "5..8 %".
        paid_at_once: share of the gold that the refiner pays at the settlement, "70 %".
        rest_after: from then until it pays the rest, "4 weeks".

    Raises:
        UsageError: ``interest-missing`` for payment in parts without a rate, for then it costs nothing;
            ``rest-incomplete`` for one of share and time without the other; or as ``share_estimate``,
            ``parse_share`` and ``parse_weeks``.
    """
    if rate is None and paid_at_once is None and rest_after is None:
        return base
    known = base.rate if base is not None else None
    if rate is not None:
        known = interest_input(named("interest a year", share_estimate, rate), _GIVEN)
    at_once = base.at_once if base is not None else 1.0
    if paid_at_once is not None:
        at_once = named("share paid at once", parse_share, paid_at_once)
    weeks = base.rest_weeks if base is not None else 0.0
    if rest_after is not None:
        weeks = named("time until the rest is paid", parse_weeks, rest_after)
    if known is None:
        raise UsageError(
            "interest-missing",
            "Payment in parts changes nothing while money that is tied up costs nothing.",
            "Give the interest a year too, such as 8 %.",
        )
    if (at_once < 1) != (weeks > 0):
        raise UsageError(
            "rest-incomplete",
            "Of payment in parts, the share at once and the time until the rest belong together.",
            "Give both, such as 70 % and 4 weeks, or neither.",
        )
    return Interest(known, at_once, weeks)
