"""Renders and trains in one go: ``python -m grader.coverage.training.render_and_train OUT DATA... --seed N``.

For a machine that is taken away when it idles: what was rendered on it is lost with it, so that nothing may wait for
a person in between. All processes render first, for the minutes given, each its own scenes; a scene that has begun is
finished. Then one run trains on these renders and on DATA; what follows ``--`` goes to ``train`` as it stands. The
model card says what to run next.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

_RENDER, _TRAIN = "grader.coverage.training.render", "grader.coverage.training.train"


def render_commands(out: Path, *, seed: int, minutes: float, processes: int, scenes: int) -> list[list[str]]:
    """One command for each process; together they render every scene once."""
    fixed = ["--out", str(out), "--seed", str(seed), "--count", str(scenes), "--minutes", f"{minutes:g}"]
    parts = (["--part", f"{part}/{processes}"] for part in range(1, processes + 1))
    return [[sys.executable, "-m", _RENDER, *fixed, *part] for part in parts]


def train_command(out: Path, renders: Path, data: Sequence[Path], more: Sequence[str]) -> list[str]:
    """The command that trains on the new renders and the earlier data."""
    return [sys.executable, "-m", _TRAIN, *map(str, (renders, *data)), "--out", str(out / "coverage.pt"), *more]


def run(renders: Sequence[Sequence[str]], train: Sequence[str], pictures: Path) -> int:
    """Render side by side, then train.

    A scene that cannot be drawn makes its process end with an error, but only after its other scenes: training needs
    pictures, not processes that ended without errors.

    Args:
        renders: commands.
        train: command.
        pictures: folder that must contain pictures before the training runs.

    Returns:
        The exit code of the run; 1 if there was nothing to train on.
    """
    working = [subprocess.Popen(command) for command in renders]  # noqa: S603 - our own interpreter and modules
    failed = sum(process.wait() != 0 for process in working)
    count = sum(1 for _ in pictures.glob("*.jpg"))
    sys.stdout.write(f"{count} pictures; {failed} of {len(working)} processes left scenes out\n")
    sys.stdout.flush()
    return subprocess.run(train, check=False).returncode if count else 1  # noqa: S603 - likewise


def main() -> None:
    """Command line."""
    given, more = _parted(sys.argv[1:])
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("out", type=Path, metavar="OUT", help="folder for renders/ and coverage.pt")
    ask.add_argument("data", nargs="*", type=Path, metavar="DATA", help="folders and archives to train on besides")
    ask.add_argument("--seed", type=int, required=True, help="of the first scene; take one that no run had")
    ask.add_argument("--minutes", type=float, default=12.0, help="of rendering")
    ask.add_argument("--processes", type=int, default=16)
    ask.add_argument("--scenes", type=int, default=100_000, help="at most")
    got = ask.parse_args(given)
    renders = got.out / "renders"
    commands = render_commands(
        renders, seed=got.seed, minutes=got.minutes, processes=got.processes, scenes=got.scenes
    )
    sys.exit(run(commands, train_command(got.out, renders, got.data, more), renders / "images"))


def _parted(words: Sequence[str]) -> tuple[list[str], list[str]]:
    """The words before and after the first ``--``."""
    at = list(words).index("--") if "--" in words else len(words)
    return list(words[:at]), list(words[at + 1 :])


if __name__ == "__main__":
    main()
