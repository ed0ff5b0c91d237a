"""The newest belief of a log: learned from its yields, kept with its day, used by the next estimate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from calibration.belief import Belief
from calibration.errors import LogError
from calibration.inputs import Input
from calibration.kinds import UNKNOWN, KindKey
from calibration.thickness import Finish, GoldProperties, gold_properties
from grader.learn.batches import Batches, batches_of, same_name
from grader.learn.flags import Flag, flags
from grader.learn.kept import kept_or_learned
from grader.log import Contents, Log, open_log
from grader.places import beliefs_folder

TOGETHER = (
    "Effective thickness is thickness × fraction recovered: what is weighed cannot tell the two apart. What the "
    "measured areas get wrong each time is in it too."
)


@dataclass(frozen=True)
class Newest:
    """A belief and what it rests on.

    Attributes:
        belief: itself.
        made_at: when it was first made from just these yields; None if it is not in the log.
        sources: its batches, and why other yields are not among them.
    """

    belief: Belief
    made_at: datetime | None
    sources: Batches

    @property
    def rests_on(self) -> tuple[int, ...]:
        """Numbers of the yields."""
        return tuple(int(b.name) for b in self.belief.batches)

    def flags(self) -> tuple[Flag, ...]:
        """Yields worth a look."""
        return flags(self.belief)

    def properties(self, part: str = "", seller: str = "", kind: KindKey = UNKNOWN) -> dict[Finish, GoldProperties]:
        """Gold properties for boards of a name and seller; their kind matters if none were weighed."""
        day = self.made_at.date().isoformat() if self.made_at else ""
        return gold_properties(self.belief.inputs(same_name(part), same_name(seller), day, kind))

    def picking(self, part: str, seller: str = "") -> Input:
        """Gold on boards that were not shown ÷ on those that the seller chose to show, as an input of an estimate.

        Args:
            part: of the lot, whose input it is.
            seller: who chose; of one that was never weighed with such a lot the range is that of any.
        """
        return self.belief.picking(part, same_name(seller))

    def never_weighed(self, part: str = "", seller: str = "") -> tuple[str, ...]:
        """Which of these names no yield has, so that the range is that of any part or seller."""
        platings = [p for b in self.belief.batches for p in b.platings]
        return tuple(
            name
            for name, known in ((part, {p.part for p in platings}), (seller, {p.seller for p in platings}))
            if name and same_name(name) not in known
        )

    def document(self) -> dict[str, Any]:
        """The belief as stored in the log."""
        return {
            "schema": 1,
            "statement": TOGETHER,
            "rests_on": list(self.rests_on),
            "left_out": [{"yield": n, "reason": why} for n, why in self.sources.left_out.items()],
            "process": self.belief.process,
            "effective_thickness_um": {
                s.finish: {
                    "batches": s.batches,
                    "before": _range(s.before),
                    "now": _range(s.now),
                    "median_moved_by_factor": s.factor,
                    "width_of_range_by_factor": s.narrower,
                }
                for s in self.belief.shifts()
            },
            "parts": [
                {"finish": k.finish, "part": k.part, "seller": k.seller, "batches": k.batches, "um": _range(k.now)}
                for k in self.belief.known()
            ],
            "sellers": [
                {
                    "seller": s.seller,
                    "batches": s.batches,
                    "beside_others": _range(s.beside),
                    "not_shown_beside_shown": None if s.picked is None else _range(s.picked),
                }
                for s in self.belief.sellers()
            ],
        }


def _range(three: tuple[float, float, float]) -> Mapping[str, float]:
    return {"low": three[0], "value": three[1], "high": three[2], "level": 0.9}


def newest(contents: Contents) -> Newest | None:
    """The belief that the log's yields give; None if there is none to learn from."""
    sources = batches_of(contents)
    if not sources.batches:
        return None
    belief = kept_or_learned(sources.batches, sources.process, beliefs_folder())
    made = next((b.made_at for b in contents.beliefs if b.key == belief.id), None)
    return Newest(belief, made, sources)


def newest_in(log: Log) -> Newest | None:
    """The newest belief, put into the log where it is not yet; a log that cannot be written to still teaches."""
    found = newest(log.contents())
    if found is None or found.made_at is not None:
        return found
    try:
        record = log.add_belief(found.belief.id, found.document())
    except LogError:
        return found
    return Newest(found.belief, record.made_at, found.sources)


def newest_at(place: str | Path | None) -> Newest | None:
    """The newest belief of the log at a place, None for the usual one.

    Raises:
        LogError: there is no log, or it cannot be read.
    """
    with open_log(place, must_exist=True) as log:
        return newest_in(log)
