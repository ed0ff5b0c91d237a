"""Gold of all boards of a part compared with what the photographed boards suggest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from grader.lot.observed import Observed
from grader.lot.sampling import others_than

_DRAWS = 2_000


def whole_of(seen: Sequence[Observed], total: float) -> tuple[float, float]:
    """Middle and spread of the gold of all boards ÷ (gold of those seen × total ÷ seen), of its logarithm.

    Args:
        seen: at least one observation.
        total: N, boards in all; where it is less than were seen, that many times the boards seen.

    Returns:
        With the share n / N of boards seen and the factor f of the others, ``w = n / N + (1 - n / N) f``: the
        exponential of the mean of ln w, and the standard deviation of ln w.
    """
    boards = sum(o.boards for o in seen)
    others = others_than("", seen, total)
    if others is None:
        return 1.0, 0.0
    share = boards / total
    whole = np.log(share + (1 - share) * others.factor.draws(_DRAWS))
    return float(np.exp(whole.mean())), float(whole.std())
