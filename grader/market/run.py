"""From pictures to rows of results: in this process, or on the workers of a cluster."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from functools import partial
from itertools import chain, islice
from typing import TYPE_CHECKING, Any

from grader.market.pictures import FAILED, WORKER_LOST, PictureRow, measure_batch
from grader.market.results import Results
from grader.market.together import measure_together

if TYPE_CHECKING:
    from distributed import Client

OnProgress = Callable[[int], None]
BatchWork = Callable[..., list[PictureRow]]
Run = Callable[..., Iterator[list[PictureRow]]]
BATCH = 4
"""Pictures of a batch: a second or two of work, against some milliseconds of a scheduler's."""

_AHEAD = 3  # batches that wait at each worker: it never idles, and memory stays flat however many batches there are


def run_here(
    batches: Iterable[Sequence[str]], request: dict[str, Any], known: Collection[str], work: BatchWork = measure_batch
) -> Iterator[list[PictureRow]]:
    """Rows batch by batch, one after another."""
    for batch in batches:
        yield work(tuple(batch), request, known)


def run_on(
    client: Client,
    batches: Iterable[Sequence[str]],
    request: dict[str, Any],
    known: Collection[str],
    work: BatchWork = measure_batch,
) -> Iterator[list[PictureRow]]:
    """The same on a Dask cluster, in the order in which the batches are done.

    A batch whose worker dies is given to another. A batch that fails by itself is tried once more, and then gives
    rows that report the failure.
    """
    from distributed import as_completed

    # a task like any other, so that it is made again if the worker that held it dies
    shared = client.submit(frozenset, tuple(known), pure=False)
    waiting = iter(batches)
    given: dict[Any, tuple[Sequence[str], int]] = {}

    def give(batch: Sequence[str], tries: int) -> Any:
        future = client.submit(work, tuple(batch), request, shared, 1, pure=False, retries=0)
        given[future] = (batch, tries)
        return future

    room = _AHEAD * max(1, sum(client.nthreads().values()))
    done = as_completed([give(b, 0) for b in islice(waiting, room)], with_results=False)
    for future in done:
        batch, tries = given.pop(future)
        if future.status == "finished":
            yield future.result()
        elif not tries:
            done.add(give(batch, 1))
            continue
        else:
            yield [_lost(picture, future.exception()) for picture in batch]
        del future  # the row has arrived: the worker may forget it
        following = next(waiting, None)
        if following is not None:
            done.add(give(following, 0))


def _batches(pictures: Iterable[str], size: int) -> Iterator[tuple[str, ...]]:
    left = iter(pictures)
    while batch := tuple(islice(left, size)):
        yield batch


def _lost(picture: str, error: BaseException | None) -> PictureRow:
    return {
        "content": f"no:{picture}",
        "stamp": "",
        "picture": picture,
        "state": FAILED,
        "code": WORKER_LOST,
        "message": f"Two workers ended while they measured this batch ({type(error).__name__}).",
        "record": "",
        "thumbnail": "",
    }


def measure_pictures(
    pictures: Sequence[str],
    request: dict[str, Any],
    stamp: str,
    results: Results,
    client: Client | None = None,
    told: OnProgress = lambda _: None,
    batch: int = BATCH,
    together: Sequence[Sequence[str]] = (),
) -> dict[str, str]:
    """Measure new pictures, and keep the rows of each batch as they arrive.

    Args:
        pictures: paths or URLs; each is read once.
        request: as ``Request.as_json`` returns it.
        stamp: stamp of that request.
        results: where rows are kept.
        client: client of a cluster; None for this process.
        told: called with the number of pictures of each batch that is done.
        batch: number of pictures in a batch.
        together: pictures of each listing whose boards are to be matched; one batch per listing.

    Returns:
        The content of each picture, by its path.
    """
    known = results.known(stamp)
    content: dict[str, str] = {}
    run: Run = run_here if client is None else partial(run_on, client)
    of_listings = {p for some in together for p in some}
    single = _batches(dict.fromkeys(p for p in pictures if p not in of_listings), batch)
    for rows in chain(run(single, request, known), run(together, request, known, measure_together)):
        kept = [row | {"stamp": stamp} for row in rows]
        results.add(kept)
        of_pictures = [row for row in kept if row["picture"]]
        content |= {row["picture"]: row["content"] for row in of_pictures}
        told(len(of_pictures))
    return content
