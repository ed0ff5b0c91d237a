"""A local cluster gives the rows that one process gives, also where a worker dies."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import Any

import cv2
import pytest

from grader.market.cluster import connected
from grader.market.pictures import measure_batch, stamp_of
from grader.market.results import Results
from grader.market.run import measure_pictures
from grader.request import Request
from grader.samples import samples_folder

pytest.importorskip("distributed")
REQUEST = Request()


@pytest.mark.filterwarnings("ignore")  # Dask tells of the worker that is killed here
def test_a_worker_that_is_killed_loses_nothing(tmp_path: Path) -> None:
    picture = cv2.imread(str(samples_folder() / "memory-modules.jpg"))
    names = []
    for i in range(8):
        names.append(str(tmp_path / f"{i}.jpg"))
        cv2.imwrite(names[-1], cv2.resize(picture, None, fx=0.1 + i / 100, fy=0.1 + i / 100))
    kept, killed = Results(str(tmp_path / "kept")), []
    with connected("local", 2) as client:

        def kill(_: int) -> None:
            if not killed:
                killed.append(next(iter(client.run(os.getpid, on_error="ignore").values())))
                os.kill(killed[0], signal.SIGKILL)

        content = measure_pictures(names, REQUEST.as_json(), stamp_of(REQUEST), kept, client, kill, batch=1)
    assert sorted(content) == names
    rows: list[dict[str, Any]] = list(kept._all())
    assert len(rows) == len({row["content"] for row in rows}) == len(names)
    alone = {row["content"]: row["record"] for row in measure_batch(names, REQUEST.as_json())}
    assert {row["content"]: row["record"] for row in rows} == alone
