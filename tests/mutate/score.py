"""What a run of mutants says: a share with its range, by file, and who survived."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.mutate.judge import Judged
from tests.mutate.mutants import Mutant


@dataclass(frozen=True)
class Result:
    """A mutant of a file and what became of it; ``equivalent`` says why it changes no result, or is empty."""

    path: str
    mutant: Mutant
    judged: Judged
    equivalent: str = ""

    @property
    def counts(self) -> bool:
        return not self.equivalent and self.judged.verdict != "unjudged"

    @property
    def dead(self) -> bool:
        return self.judged.verdict in ("killed", "timeout")


def key(path: str, mutant: Mutant) -> str:
    """Names a change whatever line it stands in."""
    nth = f" #{mutant.nth + 1}" if mutant.nth else ""
    return f"{path} | {mutant.where} | {mutant.old} -> {mutant.new}{nth}"


def read_equivalents(path: Path) -> Mapping[str, str]:
    """Why a change changes no result, by the change's key."""
    tables = tomllib.loads(path.read_text("utf-8"))["equivalent"] if path.exists() else []
    return {change: table["why"] for table in tables for change in table["changes"]}


def lines(results: Sequence[Result], *, sampled: bool) -> list[str]:
    """The report."""
    # only now: processes that judge a change must load the project's modules afresh
    from calibration.scores import share

    paths = dict.fromkeys(r.path for r in results)
    said = [
        f"{'file':<34}{'judged':>8}{'killed':>8}{'share':>8}",
        *(_row(path, [r for r in results if r.path == path]) for path in paths),
        _row("all", results),
    ]
    n, dead = sum(r.counts for r in results), sum(r.counts and r.dead for r in results)
    stuck = sum(r.judged.verdict == "timeout" for r in results)
    said.append(
        f"{dead} of {n} mutants that change a result die"
        + (f": {dead / n:.1%}" if n else "")
        + (f" (90 % range {share(dead, n).low:.1%} to {share(dead, n).high:.1%})" if n and sampled else "")
        + f"; {stuck} of them by a timeout. "
        f"{sum(bool(r.equivalent) for r in results)} change none, "
        f"{sum(r.judged.verdict == 'unjudged' for r in results)} could not be judged."
    )
    left = [r for r in results if r.counts and not r.dead]
    said += ["", "Survivors:"] if left else ["", "No survivors."]
    said += [f"{where(r)}{' (no test reaches it)' if r.judged.verdict == 'unreached' else ''}" for r in left]
    wrong = [r for r in results if r.equivalent and r.dead]
    if wrong:
        said += ["", "Listed as changing no result, but a test noticed:"]
        said += [f"{where(r)}, by {r.judged.by or r.judged.verdict}" for r in wrong]
    return said


def where(result: Result) -> str:
    return f"{result.path}:{result.mutant.line} {result.mutant.old} -> {result.mutant.new}"


def _row(name: str, results: Sequence[Result]) -> str:
    n, dead = sum(r.counts for r in results), sum(r.counts and r.dead for r in results)
    return f"{name:<34}{n:>8}{dead:>8}{f'{dead / n:.0%}' if n else '-':>8}"
