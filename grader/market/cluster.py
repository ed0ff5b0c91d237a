"""A cluster to work on: on this machine, or one that is already running. Dask does the scheduling."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from calibration.errors import UsageError

if TYPE_CHECKING:
    from distributed import Client

LOCAL = "local"
_ALLOWED_DEATHS = 3  # deaths of workers on one batch before it counts as failed


@contextmanager
def connected(address: str, workers: int = 0) -> Iterator[Client]:
    """A client of the cluster at an address, or of one that is started here and ended afterwards.

    Workers are processes with one thread each: OpenCV's threads and Dask's would multiply. They are spawned, because
    ONNX Runtime does not survive a fork.

    Args:
        address: "local", or the address of a scheduler, such as "tcp://10.0.0.5:8786".
        workers: number of workers of a local cluster; 0 for one per core.

    Raises:
        UsageError: ``cluster-missing``: Dask is not installed; ``cluster-unreachable``.
    """
    try:
        import dask
        from distributed import Client, LocalCluster
    except ImportError as error:
        raise UsageError(
            "cluster-missing",
            "A cluster needs Dask, which is not installed.",
            "Install board-gold-grader[cluster], here and on every worker.",
        ) from error
    settings = {
        "distributed.worker.multiprocessing-method": "spawn",
        "distributed.scheduler.allowed-failures": _ALLOWED_DEATHS,
        # memory is taken by photos: nothing is worth writing to disk, and no worker needs to wait
        "distributed.worker.memory.spill": False,
        "distributed.worker.memory.target": False,
        # a dead worker is started again at once; Dask would give up one that is away for 15 s, as on a busy machine
        "distributed.deploy.lost-worker-timeout": "24 hours",
        # a sample of every worker's stack each 10 ms, for a dashboard that nobody looks at here
        "distributed.worker.profile.enabled": False,
        # clocks that look 10 to 50 times a second at what changes by the second, in every process
        "distributed.admin.tick.interval": "1s",
        "distributed.admin.tick.limit": "10s",
        "distributed.admin.system-monitor.interval": "5s",
        "distributed.worker.memory.monitor-interval": "1s",
    }
    with dask.config.set(settings):
        if address == LOCAL:
            with (
                dask.config.set({"distributed.worker.preload": ["grader.market.ready"]}),
                LocalCluster(
                    n_workers=workers or None,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address="127.0.0.1:0",
                    scheduler_kwargs={"dashboard": False},
                    silence_logs=logging.CRITICAL,  # what a worker's death costs is in the rows
                ) as cluster,
                Client(cluster) as client,
            ):
                yield client
            return
        try:
            client = Client(address, timeout=10)
        except (OSError, ValueError) as error:
            raise UsageError(
                "cluster-unreachable",
                f"There is no scheduler at {address} ({error}).",
                "Start one with dask scheduler, and workers with dask worker, and check the address.",
            ) from error
        with client:
            yield client
