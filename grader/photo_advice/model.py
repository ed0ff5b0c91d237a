"""What is checked of a photo, and what came out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

from calibration.notices import Notice

CheckName = Literal["sharpness", "resolution", "highlights", "tilt", "target", "light"]
CHECKS: tuple[CheckName, ...] = get_args(CheckName)


@dataclass(frozen=True)
class Check:
    """One check of one photo.

    Attributes:
        name: what was checked.
        title: the same for a person.
        value: the figure that was measured; None if the photo does not tell.
        unit: of the figure; empty for a share or a ratio.
        limit: the figure beyond which the photo should be taken again; None if there is no such figure.
        is_good: None if the photo does not tell.
        sentence: what was found, plain.
        advice: how to take it again.
        notices: the warnings that say so; empty if all is well.
    """

    name: CheckName
    title: str
    value: float | None
    unit: str
    limit: float | None
    is_good: bool | None
    sentence: str
    advice: str
    notices: tuple[Notice, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "check": self.name,
            "title": self.title,
            "value": self.value,
            "unit": self.unit,
            "limit": self.limit,
            "is_good": self.is_good,
            "sentence": self.sentence,
            "advice": self.advice,
            "codes": [n.code for n in self.notices],
        }
