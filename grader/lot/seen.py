"""Draw the number of boards in the photos of a part from their outlines, within what the lot's count allows.

Gold per board is gold seen ÷ boards seen. If the photos may show more or fewer boards than is most likely, it is
multiplied by likely ÷ true number. Numbers of several photos add up; each photo's is independent of the others'.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.board_count import BoardCount
from grader.lot.model import Part, Sight

_VALUES = 400  # equally likely ones, that chances are told by
_SOURCE = "outlines of boards in the photos; chances measured on renders"

# chances of (boards in photos that have a back, boards in the other ones)
_Joint = dict[tuple[int, int], float]


def check_sure(part: Part) -> None:
    """Check that the number of boards in the photos is known well enough to divide by it.

    Raises:
        UsageError: ``boards-unsure``, if the lot is given by count.
    """
    if part.count is None:
        return
    most = part.count.support[0]
    for sight in part.sights:
        known = sight.counted.up_to(most) if sight.counted is not None else None
        if known is not None and not known.is_sure:
            raise UsageError(
                "boards-unsure",
                f"{sight.front.photo}: its outlines do not show how many boards there are "
                f"({known.low} to {known.high} are likely), and gold per board depends on that "
                "number.",
                "Count the boards in the photo and give their number.",
            )


def total_seen(part: Part) -> BoardCount:
    """The boards in all photos of a part."""
    totals: dict[int, float] = defaultdict(float)
    for (with_back, without), chance in _joint(part).items():
        totals[with_back + without] += chance
    return BoardCount.of(totals)


def seen_inputs(part: Part) -> tuple[tuple[Input, ...], tuple[Input, ...]]:
    """Likely ÷ true number of boards, for fronts and for backs; empty if known or irrelevant."""
    if part.count is None or all(s.counted is None or s.counted.is_exact for s in part.sights):
        return (), ()
    joint = _joint(part)
    likely_back = sum(s.boards for s in part.sights if s.back is not None)
    numbers = _even(joint)
    fronts = [part.boards_seen / (a + b) for a, b in numbers]
    backs = [likely_back / a if a else 1.0 for a, _ in numbers]
    return (_input(part, "fronts", fronts),), (_input(part, "backs", backs),)


def _input(part: Part, face: str, values: Sequence[float]) -> Input:
    return Input(
        f"boards-seen-{face}",
        f"number of boards in the photos of {part.name}",
        Distribution("sample", tuple(values)),
        _SOURCE,
        of=(part.name,),
        aligned_over=face,
    )


def _joint(part: Part) -> _Joint:
    found: _Joint = {(0, 0): 1.0}
    for sight in part.sights:
        found = _with(found, sight)
    most = part.count.support[0] if part.count is not None else np.inf
    # no lot holds fewer boards than its photos show
    left = {n: p for n, p in found.items() if sum(n) <= most} or found
    total = sum(left.values())
    return {n: p / total for n, p in left.items()}


def _with(found: _Joint, sight: Sight) -> _Joint:
    own = sight.counted if sight.counted is not None else BoardCount.exactly(sight.boards)
    sums: _Joint = defaultdict(float)
    for (with_back, without), chance in found.items():
        for number, more in own.chances:
            has_back = sight.back is not None
            sums[with_back + number * has_back, without + number * (not has_back)] += chance * more
    return dict(sums)


def _even(joint: Mapping[tuple[int, int], float]) -> list[tuple[int, int]]:
    """Equally likely pairs, each repeated in proportion to its chance."""
    pairs, chances = zip(*sorted(joint.items()), strict=True)
    middles = (np.arange(_VALUES) + 0.5) / _VALUES
    at = np.minimum(np.searchsorted(np.cumsum(chances), middles), len(pairs) - 1)
    return [pairs[i] for i in at.tolist()]
