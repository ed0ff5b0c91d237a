"""Corrections that a person made on one picture, and those that were undone and can be redone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from grader.corrections import NO_CORRECTIONS, Corrections


@dataclass(frozen=True)
class History:
    """The history of one picture.

    Attributes:
        done: all corrections that count, in order.
        undone: undone corrections, the last one last; it is redone next.
        on: stamp of the measurement that was visible when the last step was made; None if not known.
        by: mark of the window in which the last step was made.
    """

    done: Corrections = NO_CORRECTIONS
    undone: Corrections = NO_CORRECTIONS
    on: str | None = None
    by: str = ""

    def as_json(self) -> dict[str, Any]:
        """A JSON object from which ``from_json`` makes an equal value."""
        return {
            "schema": 1,
            "done": self.done.as_json(),
            "undone": self.undone.as_json(),
            "on": self.on,
            "by": self.by,
        }

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> History:
        """The inverse of ``as_json``.

        Raises:
            DataFileError: one of the lists holds no corrections.
            LookupError, TypeError, ValueError: it is not a history.
        """
        if data["schema"] != 1 or not isinstance(data["on"], str | None):
            raise ValueError("no history")
        done, undone = (Corrections.from_json(data[name]) for name in ("done", "undone"))
        return History(done, undone, data["on"], str(data.get("by", "")))


def history_of(told: Any, sha256: str) -> History:
    """The history sent by the picture's script, for the photo with this sha256.

    Raises:
        DataFileError: the script does not send such data.
    """
    lists = told if isinstance(told, Mapping) else {}
    done, undone = (
        Corrections.from_json({"schema": 1, "sha256": sha256, "corrections": lists.get(name)})
        for name in ("done", "undone")
    )
    return History(done, undone)
