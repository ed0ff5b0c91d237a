"""Gold of all boards of a part beside what the boards that were photographed would make one expect."""

from __future__ import annotations

from collections.abc import Sequence

from grader.lot.observed import Observed
from grader.lot.sampling import others_than

_DRAWS = 2_000


def whole_of(seen: Sequence[Observed], total: float) -> tuple[float, float]:
    """Mean and relative standard deviation of the gold of all boards ÷ (gold of those seen × total ÷ seen).

    Args:
        seen: at least one observation.
        total: N, boards in all; where it is less than were seen, that many times the boards seen.

    Returns:
        With the share n / N of boards seen and the factor f of the others, those of ``n / N + (1 - n / N) f``.
    """
    boards = sum(o.boards for o in seen)
    others = others_than("", seen, total)
    if others is None:
        return 1.0, 0.0
    share = boards / total
    whole = share + (1 - share) * others.factor.draws(_DRAWS)
    return float(whole.mean()), float(whole.std() / whole.mean())
