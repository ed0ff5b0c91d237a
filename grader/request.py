"""How to measure a photo, with a JSON form for saving lots in progress."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.thickness import FINISHES, Finish, GoldProperties
from grader.coverage import Segmenter
from grader.scale_choice import AUTOMATIC, ScaleChoice, scale_choice_json, scale_choice_of


@dataclass(frozen=True)
class Request:
    """How to measure a photo.

    Attributes:
        scale: what gives the scale.
        board_thickness_mm: of the boards, or None for typical ones.
        print_factor: printed ÷ stated size of our own target from its check bar; None if never measured.
        segmenter: by its name (see ``grader.coverage.choose``), or one of your own; None for the default one.
        properties: thickness, density and gold fraction by finish; None for the published priors.
    """

    scale: ScaleChoice = AUTOMATIC
    board_thickness_mm: float | None = None
    print_factor: Distribution | None = None
    segmenter: str | Segmenter | None = None
    properties: Mapping[Finish, GoldProperties] | None = None

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back; a segmenter of your own is written by its name."""
        named = self.segmenter if self.segmenter is None or isinstance(self.segmenter, str) else self.segmenter.name
        return {
            "scale": scale_choice_json(self.scale),
            "board_thickness_mm": self.board_thickness_mm,
            "print_factor": self.print_factor.as_json() if self.print_factor is not None else None,
            "segmenter": named,
            "properties": None
            if self.properties is None
            else {f: [i.as_json() for i in p.all_inputs()] for f, p in self.properties.items()},
        }

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> Request:
        """The inverse of ``as_json``; versions before 0.2.0 wrote no segmenter.

        Raises:
            KeyError, TypeError, ValueError: the values do not form a request.
        """
        factor, properties = data["print_factor"], data["properties"]
        return Request(
            scale=scale_choice_of(data["scale"]),
            board_thickness_mm=data["board_thickness_mm"],
            print_factor=None if factor is None else Distribution.from_json(factor),
            segmenter=data.get("segmenter"),
            properties=None if properties is None else {_finish(f): _gold(three) for f, three in properties.items()},
        )


def _finish(word: str) -> Finish:
    for finish in FINISHES:
        if finish == word:
            return finish
    raise ValueError(f"no finish is called {word}")


def _gold(three: Any) -> GoldProperties:
    thickness, density, fraction, *flash = (Input.from_json(each) for each in three)
    return GoldProperties(thickness, density, fraction, *flash)
