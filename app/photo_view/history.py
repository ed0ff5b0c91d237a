"""What a person has done on one picture by hand, and what was undone and can be done again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.errors import DataFileError
from grader.corrections import NO_CORRECTIONS, Corrections


@dataclass(frozen=True)
class History:
    """One picture's.

    Attributes:
        done: all corrections that count, in order.
        undone: what was undone, the last one last; the next one to be done again.
        on: stamp of the measurement that whoever made the last step had seen; None where that is not known.
    """

    done: Corrections = NO_CORRECTIONS
    undone: Corrections = NO_CORRECTIONS
    on: str | None = None

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back to an equal value."""
        return {"schema": 1, "done": self.done.as_json(), "undone": self.undone.as_json(), "on": self.on}

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> History:
        """The inverse of ``as_json``.

        Raises:
            DataFileError: one of the lists holds no corrections.
            LookupError, TypeError, ValueError: it is no history.
        """
        if data["schema"] != 1 or not isinstance(data["on"], str | None):
            raise ValueError("no history")
        return History(Corrections.from_json(data["done"]), Corrections.from_json(data["undone"]), data["on"])


def history_of(told: Any, sha256: str) -> History:
    """What the picture's script sent, for the photo with this sha256.

    Raises:
        DataFileError: it is not what the script sends.
    """
    if not isinstance(told, Mapping):
        raise DataFileError(
            "corrections-invalid",
            "The corrections cannot be used: the browser sent something else.",
            "Load the page again; what was kept before is still there.",
        )
    done, undone = (
        Corrections.from_json({"schema": 1, "sha256": sha256, "corrections": told.get(name)})
        for name in ("done", "undone")
    )
    return History(done, undone)
