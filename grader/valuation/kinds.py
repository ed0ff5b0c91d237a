"""The kinds of charges, in the order in which they are charged, and listed in a report."""

from __future__ import annotations

from collections.abc import Mapping

from grader.valuation.charges import Charge, Cost, Work
from grader.valuation.settlement import Settlement

KINDS: tuple[type[Charge], ...] = (Cost, Work, Settlement)
TYPED: Mapping[str, type[Charge]] = {name: kind for kind in KINDS for name in kind.entries}
