"""Warnings as data: one registry gives codes, messages and advice.

A ``Notice`` says that a number is still given but deserves less trust, and what to do about it. Definitions are
registered once, each in the module list below; ``notice(code, **values)`` fills the message's named fields.
A code always means one thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class NoticeDefinition:
    """One kind of warning: its stable code, title, message template, and what to do."""

    code: str
    title: str
    message: str
    advice: str


@dataclass(frozen=True)
class Notice:
    """One warning about one measurement, ready to show.

    Attributes:
        code: of its kind.
        message: what is so, filled in.
        advice: what to do.
        values: what the message was filled in with.
    """

    code: str
    message: str
    advice: str
    values: Mapping[str, object] = field(default_factory=dict, compare=False, repr=False)

    def as_json(self) -> dict[str, str]:
        """The form used in reports."""
        return {"code": self.code, "message": self.message, "advice": self.advice}


DEFINITIONS: dict[str, NoticeDefinition] = {
    d.code: d
    for d in (
        # --- scale
        NoticeDefinition(
            "target-partly-seen",
            "Target partly seen",
            "Only {seen} of {total} corners of the scale target are in sight; the scale is less certain.",
            "Lay the whole target flat beside the boards, nothing on top of it, and take the photo again.",
        ),
        NoticeDefinition(
            "target-bent",
            "Target not flat",
            "The target's corners miss a flat sheet by {residual_px:.2f} px ({residual_mm:.2f} mm).",
            "Tape the target flat to a board or the table.",
        ),
        NoticeDefinition(
            "focal-estimated",
            "Focal length estimated",
            "The photo does not say its focal length; it was estimated as {focal_px:.0f} px.",
            "Send the camera's original file, not a screenshot or a messenger's copy.",
        ),
        NoticeDefinition(
            "tilt-large",
            "Camera tilted",
            "The camera looked at the boards from {tilt_deg:.0f}° off straight down.",
            "Hold the phone level above the boards.",
        ),
        NoticeDefinition(
            "tilt-unknown",
            "Tilt unknown",
            "A single known length cannot show how far the camera was tilted; up to {tilt_deg:.0f}° is in the range.",
            "Give a known rectangle (--rectangle), or print the target, for a narrower range.",
        ),
        NoticeDefinition(
            "print-size-unchecked",
            "Print size not checked",
            "The printed target's true size was never measured; printers shrink pages by up to a few per cent.",
            "Measure the 100 mm check bar and store it: grader target --bar-measured.",
        ),
        NoticeDefinition(
            "no-scale",
            "No scale",
            "The photo shows nothing of known size, so areas in mm² and gold in mg cannot be given.",
            "Lay the printed target beside the boards (grader target), or give a known length (--length) or "
            "rectangle (--rectangle).",
        ),
    )
}


def register(*definitions: NoticeDefinition) -> None:
    """Add definitions to the registry at import time.

    Raises:
        ValueError: a code is already taken by another definition.
    """
    for definition in definitions:
        if DEFINITIONS.get(definition.code, definition) != definition:
            raise ValueError(f"notice code used twice: {definition.code}")
        DEFINITIONS[definition.code] = definition


def notice(code: str, **values: object) -> Notice:
    """A notice of a registered kind with its message filled in.

    Raises:
        KeyError: the code is not registered, or the message names a value that was not given.
    """
    definition = DEFINITIONS[code]
    return Notice(code, definition.message.format(**values), definition.advice, values)
