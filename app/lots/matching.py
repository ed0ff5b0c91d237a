"""Comparison of a lot's photos in its own thread, so that each board counts once; a person's corrections apply."""

from __future__ import annotations

import logging
from threading import Event, Lock, Thread

from app.lots.fresh import FreshMeasurements
from app.lots.kept import Kept
from app.lots.lot_folder import LotFolder
from app.lots.sheets import BoardSheet, corrections, keep_sheet, kept_sheet, made_of
from calibration.errors import GraderError, PhotoError
from grader.correct.measured import correct
from grader.listing import SeenListing, see_listing
from grader.photo import load_photo
from grader.pipeline import Measurement, measure

_LOG = logging.getLogger(__name__)


class Matching:
    """Keeps the sheet of one lot in step with its photos and with the corrections to them."""

    def __init__(self, lot: LotFolder, one_at_a_time: Lock, fresh: FreshMeasurements) -> None:
        """Prepare the comparison; ``follow`` starts it.

        Args:
            lot: whose photos are all measured.
            one_at_a_time: shared by all lots, because one photo takes the whole machine.
            fresh: photos that need not be measured again.
        """
        self._lot, self._one, self._fresh = lot, one_at_a_time, fresh
        self._starting, self._over = Lock(), Event()
        self._over.set()
        self._seen: tuple[frozenset[tuple[str, str]], SeenListing] | None = None
        self._failed_at: str | None = None
        self.error: GraderError | None = None
        self.done, self.total, self.name = 0, 0, ""

    @property
    def is_over(self) -> bool:
        """Whether nothing more will happen by itself."""
        return self._over.is_set()

    def follow(self) -> None:
        """Start to compute the sheet in the background if it is out of step; do nothing if that failed before."""
        with self._starting:
            if not self._over.is_set() or self._is_in_step():
                return
            self._over.clear()
        Thread(target=self.run, name="matching", daemon=True).start()

    def run(self) -> None:
        """Compute the sheet until it is in step."""
        wanted = ""
        try:
            while not self._is_in_step():
                wanted = made_of(self._lot)
                keep_sheet(self._lot, BoardSheet.of(self._see().listing(corrections(self._lot)), wanted))
                self.error = None
        except GraderError as error:
            self.error, self._failed_at = error, wanted
        except Exception:
            _LOG.exception("matching a lot's photos failed")
            self.error = PhotoError(
                "photo-not-measured",
                "These photos could not be compared; the fault is in the program.",
                "Count the boards photo by photo, and report the fault.",
            )
            self._failed_at = wanted
        finally:
            self._over.set()

    def _is_in_step(self) -> bool:
        wanted = made_of(self._lot)
        sheet = kept_sheet(self._lot)
        return wanted == self._failed_at or (sheet is not None and sheet.made_of == wanted)

    def _see(self) -> SeenListing:
        photos = self._lot.measured()
        of = frozenset((done.sha256, str(done.stamp)) for done in photos.values())
        if self._seen is not None and self._seen[0] == of:
            return self._seen[1]
        self._seen = None
        measured: dict[str, Measurement] = {}
        self.total = len(photos)
        for number, done in enumerate(photos.values()):
            self.done, self.name = number, done.name
            found = self._fresh.take(done.sha256, done.request) or self._measured(done)
            by_hand = done.measured.made_by_hand
            measured[done.sha256] = correct(found, by_hand) if by_hand.items else found
        self.done, self.name = self.total, ""
        with self._one:
            seen = see_listing([m.photo for m in measured.values()], measured=measured)
        self._seen = of, seen
        return seen

    def _measured(self, done: Kept) -> Measurement:
        data = self._lot.photo(done.sha256)
        if data is None:
            raise PhotoError("photo-missing", "The photo has been removed.", "Choose it again.")
        with self._one:
            return measure(load_photo(data, done.name), done.request)
