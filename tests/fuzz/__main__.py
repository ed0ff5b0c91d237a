"""``python -m tests.fuzz --cases 20000``: inputs of every kind, damaged; each must end in a value or our error."""

from __future__ import annotations

import argparse
import secrets
import sys
from collections import Counter

from tests.fuzz.run import run


def main() -> int:
    """Run the cases that were asked for; 1 where one fell."""
    asked = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    asked.add_argument("--cases", type=int, default=500, help="how many")
    asked.add_argument("--first", type=int, default=0, help="number of the first one")
    asked.add_argument("--seed", type=int, help="of the random numbers; a new one if left out")
    asked.add_argument("--case", type=int, help="this one only")
    given = asked.parse_args()
    seed = secrets.randbelow(1_000_000) if given.seed is None else given.seed
    numbers = range(given.first, given.first + given.cases) if given.case is None else [given.case]
    _say(f"seed {seed}")

    def told(number: int) -> None:
        if (number + 1) % 1000 == 0:
            _say(f"{number + 1} cases")

    report = run(seed, numbers, told)
    totals = Counter({how: sum(n for k, n in report.ended.items() if k.endswith(how)) for how in ("value", "error")})
    for key, count in sorted(report.ended.items()):
        _say(f"{count:7d}  {key}")
    for kind, seconds in sorted(report.seconds.items(), key=lambda item: -item[1]):
        _say(f"{seconds:9.1f} s  {kind}")
    for fall in report.falls:
        _say(f"\n{fall}")
    _say(f"{len(numbers)} cases, seed {seed}: {totals['value']} values, {totals['error']} errors, "
          f"{len(report.falls)} fell")  # fmt: skip
    return 1 if report.falls else 0


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
