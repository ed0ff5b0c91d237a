"""Renders training pictures: ``python -m grader.coverage.training.render --out DIR --seed S --count N``."""

from __future__ import annotations

import argparse
import json
import sys
import time
import traceback
from pathlib import Path


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(prog="python -m grader.coverage.training.render", description=__doc__)
    parser.add_argument("--out", required=True, type=Path, help="folder for images/ and masks/")
    parser.add_argument("--seed", required=True, type=int, help="seed of the first scene; scene i uses seed + i")
    parser.add_argument("--count", type=int, default=1, help="how many scenes, mostly of three views each")
    parser.add_argument("--part", default="1/1", help="i/n: every n-th scene only, for several processes")
    parser.add_argument("--hard", type=float, default=0.4, help="share of scenes with difficult looks")
    parser.add_argument("--width", type=int, help="width of the pictures (default: 1280 to 1600)")
    parser.add_argument("--samples", type=int, default=32, help="light paths a pixel")
    parser.add_argument("--minutes", type=float, default=1e9, help="start no scene after so many minutes")
    options = parser.parse_args()
    import cv2

    from .make import Wish, make_scene
    from .trace import integrator

    wish = Wish(options.seed, options.hard, options.width, options.samples)
    part, parts = (int(v) for v in options.part.split("/"))
    if parts > 1:
        cv2.setNumThreads(1)
    begin, paths, made, failed = time.monotonic(), integrator(), 0, 0
    for index in range(part - 1, options.count, parts):
        if time.monotonic() - begin > 60 * options.minutes:
            break
        if next((options.out / "images").glob(f"{options.seed + index:07d}_*.jpg"), None):
            continue
        try:
            told = make_scene(options.out, wish, index, paths)
        except Exception:  # one scene that cannot be drawn must not end hours of work
            failed += 1
            sys.stderr.write(f"scene {options.seed + index} left out\n{traceback.format_exc()}")
            sys.stderr.flush()
            continue
        made += len(told["names"])
        rate = made / (time.monotonic() - begin) * 60
        told.update(build_s=round(told["build_s"], 2), render_s=round(told["render_s"], 2), per_minute=round(rate, 2))
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()
    if failed:
        sys.exit(f"{failed} scenes could not be drawn")


if __name__ == "__main__":
    main()
