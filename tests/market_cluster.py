"""What a cluster brings and bears: ``python -m tests.market_cluster speed|kill|overhead …``.

``speed FOLDER`` measures the listings' pictures in one process of one thread, in one of two, and on two workers of
one thread each; run it on a machine that does nothing else, on pictures as large as sellers show: the cluster's start
takes some seconds, whatever there is to do. One process of two threads uses both of two cores for the better part of
its time, so that a cluster gains little on it there; it is for more cores, and for more machines.

``kill FOLDER --kills 10`` kills workers (-9) at random while they measure, and checks that nothing is lost and
nothing there twice. ``overhead --tasks 100000`` times tasks that do nothing: what a scheduler needs for each.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import cv2

from grader.market.cluster import LOCAL, connected
from grader.market.listings import read_market
from grader.market.market import Market
from grader.market.pictures import stamp_of
from grader.market.results import Results
from grader.market.run import run_on
from grader.request import Request


def no_work(batch: Sequence[str], request: dict[str, Any], known: object, threads: int) -> list[dict[str, Any]]:
    return [{"picture": batch[0]}]


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def cpu_s() -> float:
    """Processor time of this process and its children that have ended."""
    return sum(
        u.ru_utime + u.ru_stime for u in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def speed(folder: str) -> None:
    listings = read_market(folder)
    took = {}
    for name, threads in (("one process, one thread", 1), ("one process, two threads", 2), ("two workers", 0)):
        with tempfile.TemporaryDirectory() as results:
            market, cpu = Market(listings, Request(), results), cpu_s()
            if threads:
                cv2.setNumThreads(threads)
                from grader.coverage import choose

                choose._ready.cache_clear()  # a session has the threads that it was made with
                start = time.perf_counter()
                market.measure()
                took[name] = time.perf_counter() - start, cpu_s() - cpu
            else:
                begun = time.perf_counter()
                with connected(LOCAL, 2) as client:
                    client.wait_for_workers(2)
                    start = time.perf_counter()
                    market.measure(client)
                    wall = time.perf_counter() - start
                took[name] = wall, cpu_s() - cpu
                took[f"{name}, start and end included"] = time.perf_counter() - begun, cpu_s() - cpu
    first = took["one process, one thread"][0]
    for name, (wall, cpu) in took.items():
        say(f"{name}: {wall:.1f} s, processor {cpu:.1f} s, {first / wall:.2f} times as fast")


def kill(folder: str, kills: int, seed: int, results: Path) -> None:
    listings, request, draw = read_market(folder), Request(), random.Random(seed)
    market = Market(listings, request, str(results))
    total, done, ended = market.picture_count, Counter[str](), threading.Event()
    moments = sorted(draw.randrange(total * 9 // 10) for _ in range(kills))  # all before the end
    killed = 0
    with connected(LOCAL, 2) as client:

        def on_progress(count: int) -> None:
            done["pictures"] += count

        def killer() -> None:
            nonlocal killed
            for at in moments:
                while done["pictures"] < at and not ended.wait(0.05):
                    pass
                pids = [pid for pid in client.run(os.getpid, on_error="ignore").values() if isinstance(pid, int)]
                if pids and not ended.is_set():
                    os.kill(draw.choice(pids), signal.SIGKILL)
                    killed += 1
                    time.sleep(draw.uniform(0.2, 2.0))

        thread = threading.Thread(target=killer)
        thread.start()
        content = market.measure(client, on_progress)
        ended.set()
        thread.join()
    rows = list(Results(str(results))._all())
    states = Counter(row["state"] for row in rows)
    stamp = stamp_of(request)
    twice = [key for key, n in Counter(row["content"] for row in rows if row["stamp"] == stamp).items() if n > 1]
    lost = total - len(content)
    say(f"{killed} workers killed; {total} pictures, {len(content)} done, {lost} lost, {len(twice)} twice; {states}")
    sys.exit(1 if lost or twice or states.get("failed") else 0)


def overhead(tasks: int) -> None:
    batches = ((f"memory://{i}",) for i in range(tasks))
    with connected(LOCAL, 2) as client:
        client.wait_for_workers(2)
        before, start = cpu_s(), time.perf_counter()
        count = sum(1 for _ in run_on(client, batches, {}, (), no_work))
        wall, cpu = time.perf_counter() - start, cpu_s() - before
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(
        f"{count} empty tasks: {1e3 * wall / count:.2f} ms each by the clock, {1e3 * cpu / count:.2f} ms of "
        f"processor in client and scheduler; peak {peak:.0f} MB. "
        f"For 2 %, a task may be as short as {50 * wall / count:.2f} s."
    )


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("what", choices=("speed", "kill", "overhead"))
    ask.add_argument("folder", nargs="?")
    ask.add_argument("--kills", type=int, default=10)
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--tasks", type=int, default=100_000)
    got = ask.parse_args()
    if got.what == "overhead":
        overhead(got.tasks)
    elif got.what == "speed":
        speed(got.folder)
    else:
        place = Path(tempfile.mkdtemp())
        try:
            kill(got.folder, got.kills, got.seed, place)
        finally:
            shutil.rmtree(place)


if __name__ == "__main__":
    main()
