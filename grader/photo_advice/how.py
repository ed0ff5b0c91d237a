"""How to take each photo well: one sentence and one drawing a check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from grader.photo_advice.model import CheckName


@dataclass(frozen=True)
class How:
    """What a check is called, and how to do it well.

    Attributes:
        title: of the check.
        advice: one sentence or two.
        wrong: what the drawing's left half shows.
        right: what its right half shows.
    """

    title: str
    advice: str
    wrong: str
    right: str


HOW: Mapping[CheckName, How] = {
    "sharpness": How(
        "Sharp",
        "Tap on the contacts to focus, rest your elbows, and wait for more light rather than move.",
        "blurred contacts",
        "sharp contacts",
    ),
    "resolution": How(
        "Near enough",
        "Move closer until boards and target fill the picture, and use the camera's full resolution without zoom.",
        "boards small in the picture",
        "boards fill the picture",
    ),
    "highlights": How(
        "No glare",
        "Turn the flash off and use light from a window or a white wall at the side; expose a "
        "little darker if the gold turns white.",
        "flash from above",
        "soft light from the side",
    ),
    "tilt": How(
        "Level",
        "Hold the phone level above the boards, looking straight down.",
        "phone tilted",
        "phone level",
    ),
    "target": How(
        "Target whole and flat",
        "Lay the whole target flat beside the boards, nothing on it; tape it to the table if it curls.",
        "target covered and curled",
        "target whole beside the board",
    ),
    "light": How(
        "Even light",
        "Step aside so that neither you nor the phone casts a shadow on the boards; use a plain background.",
        "shadow across the boards",
        "no shadow",
    ),
}
