"""What a cluster brings and bears: ``python -m tests.market_cluster speed|kill|overhead …``.

``speed`` measures photos in one process of one thread, in one of two threads, and on two workers of one thread each;
``--bare`` also in two processes that know nothing of each other, the most that two workers could do on this machine.
Each way has its own processes, and each process is ready, the network loaded and a first photo measured, before its
clock starts; how long that takes is told apart. Run it on a machine that does nothing else. One process of two
threads uses both of two cores for a part of its time, so that a cluster gains less on it; it is for more cores,
and for more machines.

``kill --kills 10`` kills workers (-9) at random while they measure, and checks that nothing is lost and nothing there
twice. ``overhead --tasks 100000`` gives tasks that do nothing to two workers: what a scheduler needs for each, and
whether memory grows. ``memory --rounds 10`` measures the same photos again and again in one process and tells its
memory after each round.

Photos are those of ``--folder`` (as ``grader market`` reads it), or ``--photos`` of ``--width`` px made from the
samples.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import resource
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
from threadpoolctl import threadpool_limits

from grader.market.cluster import LOCAL, connected
from grader.market.listings import MarketListing, read_market
from grader.market.market import Market
from grader.market.pictures import measure_batch, stamp_of
from grader.market.results import Results
from grader.market.run import BATCH, measure_pictures, run_on
from grader.request import Request
from tests.market_photos import write_photos


def no_work(batch: Sequence[str], request: dict[str, Any], known: object, threads: int) -> list[dict[str, Any]]:
    return [{"picture": batch[0]}]


def rss_mb() -> float:
    """Memory of this process."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 2**20


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def cpu_s() -> float:
    """Processor time of this process and its children that have ended."""
    return sum(
        u.ru_utime + u.ru_stime for u in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


@dataclass(frozen=True)
class Took:
    """Seconds of one way to measure all photos: until ready, by the clock, and of processor in all its processes."""

    ready: float
    wall: float
    cpu: float
    cpu_outside: float = 0.0  # of these, in client and scheduler

    def line(self, name: str, count: int, first: Took, bare: Took | None) -> str:
        of_best = "" if bare is None else f", {bare.wall / self.wall:.0%} of what two bare processes do"
        return (
            f"{name}: {self.wall:.1f} s ({first.wall / self.wall:.2f} times as fast{of_best}), "
            f"processor {1e3 * self.cpu / count:.0f} ms a photo"
            + (f", {1e3 * self.cpu_outside / count:.1f} of it in client and scheduler" if self.cpu_outside else "")
            + f"; ready after {self.ready:.1f} s"
        )


def one_process(pictures: Sequence[str], threads: int, start: Any, told: Any) -> None:
    """Measure photos in this process, when told to start."""
    cv2.setNumThreads(threads)
    with tempfile.TemporaryDirectory() as results, threadpool_limits(threads):
        measure_batch(pictures[:1], Request().as_json())
        told.put(0.0)
        start.wait()
        cpu = cpu_s()
        measure_pictures(pictures, Request().as_json(), "", Results(results))
        told.put(cpu_s() - cpu)


def in_processes(parts: Sequence[Sequence[str]], threads: int) -> Took:
    """Measure each part in a process of its own."""
    spawn = multiprocessing.get_context("spawn")
    start, told, begun = spawn.Event(), spawn.SimpleQueue(), time.perf_counter()
    processes = [spawn.Process(target=one_process, args=(part, threads, start, told)) for part in parts]
    for process in processes:
        process.start()
    for _ in processes:
        told.get()
    ready = time.perf_counter()
    start.set()
    cpu = sum(told.get() for _ in processes)
    wall = time.perf_counter() - ready
    for process in processes:
        process.join()
    return Took(ready - begun, wall, cpu)


def in_workers(pictures: Sequence[str]) -> Took:
    """Measure all on two workers."""
    begun, request = time.perf_counter(), Request().as_json()
    with connected(LOCAL, 2) as client, tempfile.TemporaryDirectory() as results:
        client.wait_for_workers(2)
        client.run(measure_batch, tuple(pictures[:1]), request, frozenset(), 1)
        inside, own, ready = sum(client.run(cpu_s).values()), cpu_s(), time.perf_counter()
        measure_pictures(pictures, request, "", Results(results), client)
        wall, own = time.perf_counter() - ready, cpu_s() - own
        inside = sum(client.run(cpu_s).values()) - inside
    return Took(ready - begun, wall, inside + own, own)


def speed(pictures: Sequence[str], with_bare: bool) -> None:
    bare = in_processes([pictures[::2], pictures[1::2]], 1) if with_bare else None
    took = {
        "one process, one thread": in_processes([pictures], 1),
        "one process, two threads": in_processes([pictures], 2),
        "two workers": in_workers(pictures),
    } | ({} if bare is None else {"two bare processes": bare})
    say(f"{len(pictures)} photos")
    for name, one in took.items():
        say(one.line(name, len(pictures), took["one process, one thread"], bare))


def kill(listings: Sequence[MarketListing], kills: int, seed: int, results: Path) -> None:
    request, draw = Request(), random.Random(seed)
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
    """Empty tasks in batches as the product gives them; memory every twentieth of the way."""
    batches = ((f"memory://{i}",) for i in range(tasks))
    with connected(LOCAL, 2) as client:
        client.wait_for_workers(2)
        before, inside, start = cpu_s(), sum(client.run(cpu_s).values()), time.perf_counter()
        for count, _ in enumerate(run_on(client, batches, {}, (), no_work), 1):
            if count % max(1, tasks // 20) == 0:
                workers = ", ".join(f"{n:.0f}" for n in client.run(rss_mb).values())
                say(f"{count} tasks: client and scheduler {rss_mb():.0f} MB, workers {workers} MB")
        wall, cpu = time.perf_counter() - start, cpu_s() - before
        inside = sum(client.run(cpu_s).values()) - inside
    say(
        f"{tasks} empty tasks: {1e3 * wall / tasks:.2f} ms each by the clock; processor {1e3 * cpu / tasks:.2f} ms "
        f"in client and scheduler, {1e3 * inside / tasks:.2f} ms in workers; a photo in batches of {BATCH}: "
        f"{1e3 * cpu / tasks / BATCH:.2f} and {1e3 * inside / tasks / BATCH:.2f} ms"
    )


def memory(pictures: Sequence[str], rounds: int) -> None:
    """The same photos again and again: memory that grows without end shows."""
    request = Request().as_json()
    for n in range(rounds):
        for at in range(0, len(pictures), BATCH):
            measure_batch(pictures[at : at + BATCH], request, frozenset(), 1)
        say(f"{(n + 1) * len(pictures)} photos: {rss_mb():.0f} MB")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("what", choices=("speed", "kill", "overhead", "memory"))
    ask.add_argument("--folder")
    ask.add_argument("--photos", type=int, default=200)
    ask.add_argument("--width", type=int, default=640)
    ask.add_argument("--bare", action="store_true")
    ask.add_argument("--kills", type=int, default=10)
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--tasks", type=int, default=100_000)
    ask.add_argument("--rounds", type=int, default=10)
    got = ask.parse_args()
    if got.what == "overhead":
        overhead(got.tasks)
        return
    with tempfile.TemporaryDirectory() as made:
        if got.folder is None:
            write_photos(Path(made), got.photos, got.width)
        listings = read_market(got.folder or made)
        pictures = list(dict.fromkeys(p for one in listings for p in one.pictures))
        if got.what == "speed":
            speed(pictures, got.bare)
        elif got.what == "memory":
            memory(pictures, got.rounds)
        else:
            with tempfile.TemporaryDirectory() as results:
                kill(listings, got.kills, got.seed, Path(results))


if __name__ == "__main__":
    main()
