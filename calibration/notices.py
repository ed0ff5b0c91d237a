"""Warnings as data: a number is still given, but deserves less trust.

A ``Notice`` gives the reason and advice. Each part of the program keeps its definitions as one ``Notices``, which
fills in the message when called with a code and values. Every code appears once in ``grader/codes.toml``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from calibration.advice import Advised


@dataclass(frozen=True)
class NoticeDefinition:
    """One kind of warning: its stable code, message template, and advice in words that fit everywhere."""

    code: str
    message: str
    advice: str


@dataclass(frozen=True)
class Notice:
    """One warning about one measurement, ready to show.

    Attributes:
        code: of its kind.
        message: the facts, filled in.
        advice: the next step, in words that fit everywhere.
        values: the values filled into the message.
        remedy: name of the advice in the front ends' files; empty if the code names it.
    """

    code: str
    message: str
    advice: str
    values: Mapping[str, object] = field(default_factory=dict, compare=False, repr=False)
    remedy: str = field(default="", compare=False, repr=False)

    @classmethod
    def of(cls, told: Advised) -> Notice:
        """An error's content as a warning."""
        return cls(told.code, told.message, told.advice, told.values, told.remedy)

    def as_json(self) -> dict[str, str]:
        """The form used in reports."""
        return {"code": self.code, "message": self.message, "advice": self.advice}


class Notices:
    """The warnings that one part of the program gives.

    Attributes:
        definitions: of each kind.

    Raises:
        ValueError: a code is used twice.
    """

    def __init__(self, *definitions: NoticeDefinition) -> None:
        self.definitions = definitions
        self._by_code = {d.code: d for d in definitions}
        if len(self._by_code) < len(definitions):
            raise ValueError(f"A code is used twice in: {', '.join(d.code for d in definitions)}.")

    def __call__(self, code: str, **values: object) -> Notice:
        """A warning of a kind with its message filled in.

        Raises:
            KeyError: the code is not among these, or the message names a value that was not given.
        """
        definition = self._by_code[code]
        return Notice(code, definition.message.format(**values), definition.advice, values)


# About scale, whatever its source.
notice = Notices(
    NoticeDefinition(
        "target-partly-seen",
        "Only {seen} of {total} corners of the scale target are in sight; the scale is less certain.",
        "Lay the whole target flat beside the boards, nothing on top of it, and take the photo again.",
    ),
    NoticeDefinition(
        "target-bent",
        "The target's corners miss a flat sheet by {residual_px:.2f} px ({residual_mm:.2f} mm).",
        "Tape the target flat to a board or the table.",
    ),
    NoticeDefinition(
        "focal-estimated",
        "The photo does not record its focal length; it was estimated at {focal_px:.0f} px.",
        "Send the camera's original file, not a screenshot or a messenger's copy.",
    ),
    NoticeDefinition(
        "tilt-large",
        "The camera was tilted {tilt_deg:.0f}° from straight down.",
        "Hold the phone level above the boards.",
    ),
    NoticeDefinition(
        "tilt-unknown",
        "A single known length cannot show how far the camera was tilted; the range allows for up "
        "to {tilt_deg:.0f}°.",
        "For a narrower range, give a known rectangle or use the printed target.",
    ),
    NoticeDefinition(
        "print-size-unchecked",
        "The printed target's true size was never measured; printers shrink pages by up to a few per cent.",
        "Measure the 100 mm check bar and store its length.",
    ),
    NoticeDefinition(
        "no-scale",
        "The photo shows nothing of known size, so areas in mm² and gold in mg cannot be given.",
        "Lay the printed target beside the boards, or give a known length or rectangle.",
    ),
)
