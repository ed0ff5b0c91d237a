"""Photos measured one after another in a thread, which can be stopped between two; no failure stops the rest.

The thread goes on while the browser is away; each measurement is in the lot's folder at once.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Event, Lock, Thread

from app.lots.fresh import FreshMeasurements
from app.lots.lot_folder import Kept, LotFolder
from calibration.errors import GraderError, PhotoError
from grader.api import measure
from grader.pipeline import PipelineStep, StepProgress
from grader.report import overlay_png
from grader.request import Request

Stopwatch = Callable[[], float]
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True)
class Order:
    """One photo to measure: its name, its sha256 in the lot's folder, and the way to measure it."""

    name: str
    sha256: str
    request: Request
    is_sample: bool = False


@dataclass
class _Turn:
    """The progress of one photo; ``seconds`` is the time that it took."""

    order: Order
    step: PipelineStep | None = None
    seconds: float | None = None
    error: GraderError | None = None
    is_done: bool = False


class Measuring:
    """A row of photos being measured into a lot."""

    def __init__(
        self,
        orders: Sequence[Order],
        lot: LotFolder,
        one_at_a_time: Lock,
        usual_s: float | None = None,
        clock: Stopwatch = time.monotonic,
        fresh: FreshMeasurements | None = None,
    ) -> None:
        """Prepare the job; ``start`` begins it.

        Args:
            orders: in the order in which they are measured.
            lot: where photos come from and measurements go.
            one_at_a_time: shared by all lots, because one photo takes the whole machine.
            usual_s: time per photo in an earlier row, s.
            clock: seconds that only increase.
            fresh: takes the measurements of a lot of several photos, for their comparison.
        """
        self._turns = [_Turn(order) for order in orders]
        self._lot, self._one, self._clock, self._usual_s = lot, one_at_a_time, clock, usual_s
        self._fresh = fresh
        self._stop, self._over = Event(), Event()
        self._began: float | None = None

    def start(self) -> None:
        """Begin, in the background."""
        Thread(target=self.run, name="measuring", daemon=True).start()

    def run(self) -> None:
        """Measure all, unless asked to stop; returns when it is over."""
        try:
            for turn in self._turns:
                if self._stop.is_set():
                    break
                with self._one:
                    self._began = self._clock()
                    self._measure(turn)
                    turn.seconds = self._clock() - self._began
                    turn.is_done = True
        finally:
            self._over.set()

    def stop(self) -> None:
        """Stop after the photo that is being measured now."""
        self._stop.set()

    @property
    def is_over(self) -> bool:
        """Whether nothing more will happen."""
        return self._over.is_set()

    @property
    def is_stopping(self) -> bool:
        """Whether it was asked to stop."""
        return self._stop.is_set()

    @property
    def turns(self) -> Sequence[_Turn]:
        """The progress of each photo."""
        return tuple(self._turns)

    def failures(self) -> list[tuple[str, GraderError]]:
        """Photos that could not be measured, and why."""
        return [(t.order.name, t.error) for t in self._turns if t.error is not None]

    def usual_s(self) -> float | None:
        """Time per photo, s; None before the first is done. Only photos that were really measured count."""
        took = [t.seconds for t in self._turns if t.seconds is not None and t.step is not None and t.error is None]
        return sum(took) / len(took) if took else self._usual_s

    def seconds_left(self) -> float | None:
        """Time until all are done, s; None while it cannot be estimated."""
        usual = self.usual_s()
        if usual is None:
            return None
        left = sum(not t.is_done for t in self._turns)
        if left == 0:
            return 0.0
        now = 0.0 if self._began is None else self._clock() - self._began
        return max(usual - now, 0.0) + (left - 1) * usual

    def _measure(self, turn: _Turn) -> None:
        def say(step: PipelineStep) -> None:
            turn.step = step

        try:
            measure_into(self._lot, turn.order, say, self._fresh if self._lot.photo_count > 1 else None)
        except PhotoError as error:
            turn.error = error
            self._lot.remove(turn.order.sha256)
        except GraderError as error:
            turn.error = error
        except Exception:
            _LOG.exception("measuring a photo failed")
            turn.error = PhotoError(
                "photo-not-measured",
                "This photo could not be measured; the fault is in the program.",
                "Go on with the other photos, and report the fault.",
            )


def measure_into(lot: LotFolder, order: Order, say: StepProgress, fresh: FreshMeasurements | None = None) -> Kept:
    """Measure one photo of a lot and keep the result; a photo measured in the same way is not measured again.

    Corrections that were made on it by hand stay.

    Raises:
        PhotoError: the bytes are not a photo, or are gone.
        UsageError: as ``measure``.
    """
    done = lot.measured().get(order.sha256)
    if done is not None and done.request == order.request:
        return done
    data = lot.photo(order.sha256)
    if data is None:
        raise PhotoError("photo-missing", "The photo has been removed.", "Choose it again.")
    measured = measure(data, name=order.name, request=order.request, progress=say)
    if fresh is not None:
        fresh.put(measured.measurement)
    done = lot.measured().get(order.sha256)  # it may have been corrected meanwhile
    by_hand = lot.history(order.sha256)
    if by_hand is not None:
        measured = measured.corrected(by_hand.done)
    elif done is not None:
        measured = measured.corrected(done.measured.made_by_hand)
    record, overlay = measured.record, overlay_png(measured.measurement)
    stamp = None if done is None else done.stamp
    return lot.put(Kept(order.name, order.sha256, order.request, record, overlay, order.is_sample, stamp))
