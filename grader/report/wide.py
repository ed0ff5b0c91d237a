"""What makes a range wide, and what would narrow it, in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from calibration.inputs import split_name
from calibration.packaged import packaged_toml
from grader.budget import TOGETHER
from grader.measured import BudgetShare, Measured
from grader.units import format_share, in_digits, together

_MOST, _BOTH = 0.6, 0.7
_WORTH_A_WORD = 0.15


def wide_sentences(measured: Measured) -> tuple[str, ...]:
    """Why the gold's range is as wide as it is, and what to do about it.

    Args:
        measured: with gold.

    Returns:
        Sentences: how far apart the ends are, what that comes from, and a remedy for each input that matters. Empty
        where the gold has no range.
    """
    lines = [line for line in measured.budget if line.input != TOGETHER]
    gold = measured.gold_mg
    if not lines or gold is None or gold.high <= gold.low:
        return ()
    lines.sort(key=lambda line: -line.share_of_variance)
    told = [together(f"The high end is {_factor(gold.high / gold.low)} times the low end.")] if gold.low > 0 else []
    told.append(_comes_from(lines))
    matter = [line for line in lines if line.share_of_variance >= _WORTH_A_WORD]
    remedies = (_remedies().get(split_name(line.input)[0]) for line in matter)
    return (*told, *dict.fromkeys(r for r in remedies if r is not None))


def _factor(ratio: float) -> str:
    return f"{ratio:.0f}" if ratio >= 10 else in_digits(ratio, 2)


def _comes_from(lines: list[BudgetShare]) -> str:
    """The one or two inputs that most of it comes from; the lines are sorted."""
    shares = [line.share_of_variance for line in lines]
    told = [together(format_share(share)) for share in shares]
    named = [f"{line.title} ({share})" for line, share in zip(lines, told, strict=True)]
    if shares[0] >= _MOST:
        return f"Most of that comes from one thing: {named[0]}."
    if sum(shares[:2]) >= _BOTH:
        return f"Most of that comes from two things: {named[0]} and {named[1]}."
    return f"Many things share in it; the largest is {named[0]}."


@cache
def _remedies() -> Mapping[str, str]:
    found: dict[str, str] = packaged_toml("grader.report", "data/narrow.toml")
    return found
