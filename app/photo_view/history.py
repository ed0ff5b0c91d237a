"""What a person has done on one picture by hand, and what was undone and can be done again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from grader.corrections import NO_CORRECTIONS, Corrections


@dataclass(frozen=True)
class History:
    """One picture's.

    Attributes:
        done: all corrections that count, in order.
        undone: what was undone, the last one last; the next one to be done again.
        on: stamp of the measurement that whoever made the last step had seen; None if that is not known.
        by: mark of the window in which the last step was made.
    """

    done: Corrections = NO_CORRECTIONS
    undone: Corrections = NO_CORRECTIONS
    on: str | None = None
    by: str = ""

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back to an equal value."""
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
            LookupError, TypeError, ValueError: it is no history.
        """
        if data["schema"] != 1 or not isinstance(data["on"], str | None):
            raise ValueError("no history")
        done, undone = (Corrections.from_json(data[name]) for name in ("done", "undone"))
        return History(done, undone, data["on"], str(data.get("by", "")))


def history_of(told: Any, sha256: str) -> History:
    """What the picture's script sent, for the photo with this sha256.

    Raises:
        DataFileError: it is not what the script sends.
    """
    lists = told if isinstance(told, Mapping) else {}
    done, undone = (
        Corrections.from_json({"schema": 1, "sha256": sha256, "corrections": lists.get(name)})
        for name in ("done", "undone")
    )
    return History(done, undone)
