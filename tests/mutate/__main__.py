"""Do the tests notice wrong code? Changes one place at a time, in memory, and runs the tests that reach it.

python -m tests.mutate                      # 300 changes, drawn with seed 1
python -m tests.mutate --sample 100 --seed 7 --files 'grader/lot/*.py'
python -m tests.mutate --all --results all.jsonl    # overnight; run it again to go on where it was stopped
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import sys
import time
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from fnmatch import fnmatch
from pathlib import Path

from tests.mutate import reach as reached
from tests.mutate.judge import Judged, in_a_process, judge
from tests.mutate.mutants import Mutant, mutants
from tests.mutate.reach import Reach
from tests.mutate.score import Result, key, lines, read_equivalents, where

_HERE = Path(__file__).parent
_HOUR = 3600.0


@dataclass(frozen=True)
class _Known:
    """What all tests together reach."""

    seconds: Mapping[str, float]
    by_line: Mapping[str, Mapping[int, frozenset[str]]]


def main() -> int:
    args = _arguments()
    for library in ("OMP", "OPENBLAS", "MKL"):  # read when numpy is loaded, which is later
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    root = Path(args.root).resolve()
    scope = tomllib.loads((root / args.scope).read_text("utf-8"))
    modules, tests = (_files(root, scope[what]) for what in ("modules", "tests"))
    chosen = [m for m in modules if any(fnmatch(m, f) for f in args.files)] if args.files else modules
    if not chosen:
        sys.stderr.write(f"No module of {args.scope} is one of {', '.join(args.files)}.\n")
        return 2
    known = _reach(root, modules, tests, args.examples)
    drawn = _drawn(root, chosen, args)
    equivalents = read_equivalents(root / scope.get("equivalents", "tests/mutate/equivalent.toml"))
    _tell_of_gone(root, chosen, equivalents)
    before = _read_results(args.results)
    results, start = [], time.monotonic()
    for n, (path, number) in enumerate(drawn, start=1):
        tree = ast.parse((root / path).read_text("utf-8"))
        mutant = next(m for i, m in enumerate(mutants(tree)) if i == number)
        name = key(path, mutant)
        judged = before.get(name)
        if judged is None:
            ids = _tests_of(path, mutant, known, args.budget)
            mutant.apply()
            times, more = args.limit
            seconds = times * sum(known.seconds[i] for i in ids) + more
            judged = judge(root, path, tree, ids, seconds, args.examples)
            _note(args.results, name, judged)
        result = Result(path, mutant, judged, equivalents.get(name, ""))
        results.append(result)
        if args.verbose or (result.counts and not result.dead):
            by = f" by {judged.by}" if judged.by else ""
            sys.stdout.write(f"[{n}/{len(drawn)}] {judged.verdict}{by}: {where(result)}\n")
            sys.stdout.flush()
    drawn_how = "all" if args.all else f"a sample of {len(drawn)}, seed {args.seed}"
    sys.stdout.write(f"\n{drawn_how}, {time.monotonic() - start:.0f} s\n")
    sys.stdout.write("\n".join(lines(results, sampled=not args.all)) + "\n")
    if args.keys:
        sys.stdout.write("\n".join(["", *(key(r.path, r.mutant) for r in results if r.counts and not r.dead)]) + "\n")
    return int(any(r.equivalent and r.dead for r in results))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.mutate", description=__doc__.partition("\n")[0])
    parser.add_argument("--files", nargs="+", default=[], help="modules, with * (all of the scope if left out)")
    parser.add_argument("--sample", type=int, default=300, help="how many changes are drawn (300)")
    parser.add_argument("--seed", type=int, default=1, help="of the draw (1)")
    parser.add_argument("--all", action="store_true", help="every change")
    parser.add_argument("--budget", type=float, default=20.0, help="seconds of tests for one change (20)")
    parser.add_argument("--examples", type=int, default=10, help="for each property (10)")
    parser.add_argument(
        "--limit",
        nargs=2,
        type=float,
        default=(4.0, 15.0),
        metavar=("TIMES", "SECONDS"),
        help="a change is stuck after so many times the CPU time that its tests take, and so many seconds (4 15)",
    )
    parser.add_argument("--results", type=Path, help="file that keeps each result; what it holds is not run again")
    parser.add_argument("--keys", action="store_true", help="also name survivors as equivalent.toml names changes")
    parser.add_argument("--verbose", action="store_true", help="say what became of each change")
    parser.add_argument("--root", default=str(_HERE.parents[1]), help=argparse.SUPPRESS)
    parser.add_argument("--scope", default="tests/mutate/scope.toml", help="modules and tests")
    return parser.parse_args()


def _files(root: Path, patterns: Sequence[str]) -> list[str]:
    found = [p.relative_to(root).as_posix() for pattern in patterns for p in sorted(root.glob(pattern))]
    return list(dict.fromkeys(found))


def _drawn(root: Path, modules: Sequence[str], args: argparse.Namespace) -> list[tuple[str, int]]:
    """Which changes are judged: file and number of each, in the order of the files."""
    every = [(m, n) for m in modules for n, _ in enumerate(mutants(ast.parse((root / m).read_text("utf-8"))))]
    if args.all or args.sample >= len(every):
        return every
    return sorted(random.Random(args.seed).sample(every, args.sample), key=every.index)


def _tell_of_gone(root: Path, modules: Sequence[str], equivalents: Mapping[str, str]) -> None:
    """Which listed changes the code no longer has, so that somebody looks at them again."""
    there = {key(m, c) for m in modules for c in mutants(ast.parse((root / m).read_text("utf-8")))}
    for change in equivalents:
        if change.partition(" | ")[0] in modules and change not in there:
            sys.stdout.write(f"listed as changing no result, but no longer there: {change}\n")


# --- what tests reach


def _reach(root: Path, modules: Sequence[str], tests: Sequence[str], examples: int) -> _Known:
    folders = {m.partition("/")[0] for m in modules}
    shared = [p for f in sorted(folders) for kind in ("py", "toml") for p in (root / f).rglob(f"*.{kind}")]
    shared += [*(root / "tests").rglob("conftest.py"), _HERE / "reach.py"]
    found: list[Reach] = []
    for file in tests:
        digest = _digest(root, file, shared, examples)
        kept = root / ".mutate" / f"{digest[:32]}.json"
        reach = reached.load(kept)
        if reach is None:
            sys.stdout.write(f"recording what {file} reaches\n")
            _in_process(root, lambda _, file=file, kept=kept: _record(root, file, modules, examples, kept))
            reach = reached.load(kept)
            if reach is None:
                raise SystemExit(f"{file} could not be run. Run it with pytest to see why.")
        found.append(reach)
    for name in dict.fromkeys(n for r in found for n in r.loaded):
        _load(name)
    for test in (t for r in found for t in r.failed):
        sys.stdout.write(f"judges nothing, for it fails or is skipped without any change: {test}\n")
    seconds: dict[str, float] = {}
    by_line: dict[str, dict[int, set[str]]] = {}
    for reach in found:
        good = set(reach.seconds) - set(reach.failed)
        seconds |= {t: s for t, s in reach.seconds.items() if t in good}
        for test in good:
            for path, numbers in reach.lines.get(test, {}).items():
                for number in numbers:
                    by_line.setdefault(path, {}).setdefault(number, set()).add(test)
    return _Known(seconds, {p: {n: frozenset(t) for n, t in at.items()} for p, at in by_line.items()})


def _digest(root: Path, file: str, shared: Sequence[Path], examples: int) -> str:
    return reached.digest(root, file, [p for p in shared if p.exists()], examples)


def _record(root: Path, file: str, modules: Sequence[str], examples: int, kept: Path) -> int:
    reached.keep(kept, reached.record(root, file, modules, examples))
    return 0


def _in_process(root: Path, work: Callable[[Callable[[str], None]], int]) -> None:
    in_a_process(root, work, _HOUR)


def _load(name: str) -> None:
    """Load a library once for all processes that are forked later."""
    try:
        __import__(name)
    except Exception:  # whoever needs it will see why
        return


def _tests_of(path: str, mutant: Mutant, known: _Known, budget: float) -> list[str]:
    """Tests that reach a change: the module's own first, then quick ones, as many as the budget holds."""
    at = known.by_line.get(path, {})
    folder, stem = Path(path).parent, Path(path).stem
    own = f"tests/{folder.as_posix()}/"
    if mutant.at_import:
        # a module that only states things has no lines that run later: all tests of its folder
        found = frozenset().union(*at.values()) or frozenset(t for t in known.seconds if t.startswith(own))
    else:
        first, last = mutant.lines
        found = at.get(mutant.line) or frozenset().union(*(at.get(n, frozenset()) for n in range(first, last + 1)))

    def rank(test: str) -> tuple[int, float]:
        name = Path(test.partition("::")[0]).stem
        near = 0 if test.startswith(own) and stem in name else 1 if test.startswith(own) else 2
        return near, known.seconds[test]

    chosen, spent = [], 0.0
    for test in sorted(found, key=rank):
        spent += known.seconds[test]
        if chosen and spent > budget:
            break
        chosen.append(test)
    return chosen


# --- results that outlive a run


def _read_results(path: Path | None) -> dict[str, Judged]:
    if path is None or not path.exists():
        return {}
    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines() if line.endswith("}")]
    return {row["change"]: Judged(row["verdict"], row["by"]) for row in rows}


def _note(path: Path | None, change: str, judged: Judged) -> None:
    if path is not None:
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"change": change, **asdict(judged)}) + "\n")


if __name__ == "__main__":
    sys.exit(main())
