"""An unknown that has a few answers, each with what one would then hold of an input."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.distributions import Distribution


@dataclass(frozen=True)
class Choice:
    """A question with a few answers.

    Attributes:
        question: to ask, in plain words.
        input: name of the input that the answer tells of.
        now: what is assumed about it before; a mixture of lognormals.
        answers: how common each is, and what is assumed about the input then; likewise.
    """

    question: str
    input: str
    now: Distribution
    answers: tuple[tuple[float, Distribution], ...]
