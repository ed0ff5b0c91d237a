"""What goes into the log and what comes out: checked on the way in, frozen both ways."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints, model_validator

from grader.log.batch_model import BatchRecords
from grader.log.entry import Document, Entry, Finite, Line, LotName, Sha256, checked
from grader.log.money_model import MoneyEntry, Purchase, in_force
from grader.measured import Measured

FinenessKnown = Literal["found", "assumed", "assayed"]
MarkKind = Literal["process", "reset"]


class NewLot(Entry):
    """A lot as bought or offered; the seller and the kind of boards (``part``) as typed."""

    name: LotName
    seller: Line = ""
    note: Line = ""
    part: Line = ""


class PhotoRecord(Entry):
    """A photo that was measured; the log never holds its bytes.

    Attributes:
        sha256: of the file's bytes, hex.
        name: as the user knows it.
        width_px: after orientation.
        height_px: after orientation.
        taken_at: by the camera's own clock, without time zone.
    """

    sha256: Sha256
    name: Line
    width_px: Annotated[int, Field(gt=0)]
    height_px: Annotated[int, Field(gt=0)]
    taken_at: datetime | None = None


def photo_of(document: Document) -> PhotoRecord:
    """The photo that a measurement's document names.

    Raises:
        UsageError: it lacks the photo's sha256 or size.
        DataFileError: it is not a measurement.
    """
    measured = Measured.from_dict(document)
    return checked(
        PhotoRecord,
        sha256=measured.sha256,
        name=measured.photo,
        width_px=measured.width_px,
        height_px=measured.height_px,
        taken_at=measured.taken_at,
    )


class NewYield(Entry):
    """Gold weighed at the end.

    Attributes:
        mass_mg: as weighed, not yet multiplied by the fineness; zero if nothing came.
        uncertainty_mg: standard uncertainty (one standard deviation) of the mass.
        fineness: share of gold in what was weighed, above 0 to 1; None if unknown.
        fineness_known: found by a test of one's own, assumed, or assayed by a laboratory; None with the fineness.
        note: free text.
        weighed_on: the day.
        who: wrote it down.
        carried_in_mg: fine gold in it that came from elsewhere, such as an earlier batch's filters.
        lost_mg: fine gold known to be left behind or lost by accident, such as a spill; losses that happen each time
            are not an accident and stay out of it.
    """

    mass_mg: Annotated[float, Field(ge=0), Finite]
    uncertainty_mg: Annotated[float, Field(ge=0), Finite] | None = None
    fineness: Annotated[float, Field(gt=0, le=1), Finite] | None = None
    fineness_known: FinenessKnown | None = None
    note: Line = ""
    weighed_on: date
    who: Line = ""
    carried_in_mg: Annotated[float, Field(ge=0), Finite] = 0.0
    lost_mg: Annotated[float, Field(ge=0), Finite] = 0.0

    @model_validator(mode="after")
    def _both_or_none(self) -> NewYield:
        if (self.fineness is None) != (self.fineness_known is None):
            raise ValueError("a fineness and how it is known go together")
        return self


class NewExclusion(Entry):
    """A yield that is not learned from, or is again.

    Attributes:
        excluded: False takes it in again.
        reason: why.
        who: says so.
    """

    excluded: bool = True
    reason: Annotated[Line, StringConstraints(min_length=1)]
    who: Line = ""


class NewMark(Entry):
    """A day from which things are different.

    Attributes:
        kind: ``process``: how gold is recovered changed, so that recovery restarts and thickness does not; ``reset``:
            what was weighed up to this day and logged before the mark is no longer learned from.
        day: the first day of the new process, or the last day of what is no longer learned from.
        note: what changed, or why.
        who: says so.
    """

    kind: MarkKind
    day: date
    note: Annotated[Line, StringConstraints(min_length=1)]
    who: Line = ""


class NewAttachment(Entry):
    """A file that belongs to a yield, such as an assay's report; the log never holds its bytes."""

    sha256: Sha256
    name: Line
    who: Line = ""


@dataclass(frozen=True)
class LoggedLot:
    """A lot in the log.

    Attributes:
        created_at: UTC.
        archived: whether it was put away; its entries count all the same.
    """

    id: int
    name: str
    seller: str
    note: str
    created_at: datetime
    part: str = ""
    archived: bool = False

    def as_new(self, **changes: Any) -> NewLot:
        """What is said of it, with some changes, to say it again.

        Raises:
            UsageError: as ``checked``.
        """
        return checked(NewLot, **{**{name: getattr(self, name) for name in NewLot.model_fields}, **changes})


@dataclass(frozen=True)
class LotChange:
    """What was said of a lot before it was changed at ``logged_at``, UTC."""

    id: int
    lot_id: int
    name: str
    seller: str
    part: str
    note: str
    archived: bool
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class Estimate:
    """One measurement of one photo as it was made; never rewritten.

    Attributes:
        id: number of the estimate; a later one is higher.
        lot_id: the lot.
        photo_sha256: the photo.
        made_at: when it was logged, UTC.
        program_version: of the program that logged it.
        document: the whole measurement.
    """

    id: int
    lot_id: int
    photo_sha256: str
    made_at: datetime
    program_version: str
    document: Document

    @cached_property
    def measured(self) -> Measured:
        """What the measurement says.

        Raises:
            DataFileError: it was damaged after it was logged, or a later version made it.
        """
        return Measured.from_dict(self.document, f"estimate {self.id}")


@dataclass(frozen=True)
class Yield:
    """A yield in the log: see ``NewYield``.

    Attributes:
        lot_id: the first of its lots; all of them are in ``Contents.yield_lots``.
        corrects: number of the yield that this one replaces; None for a first entry.
        reason: of the correction.
    """

    id: int
    lot_id: int
    logged_at: datetime
    mass_mg: float
    uncertainty_mg: float | None
    fineness: float | None
    fineness_known: FinenessKnown | None
    note: str
    weighed_on: date
    who: str = ""
    carried_in_mg: float = 0.0
    lost_mg: float = 0.0
    corrects: int | None = None
    reason: str = ""

    def as_new(self, **changes: Any) -> NewYield:
        """An entry like this one with some changes, to correct it.

        Raises:
            UsageError: as ``checked``.
        """
        same = {name: getattr(self, name) for name in NewYield.model_fields}
        return checked(NewYield, **{**same, **changes})


@dataclass(frozen=True)
class YieldLot:
    """A lot that went into a yield, ``copies`` times what its photos show."""

    yield_id: int
    lot_id: int
    copies: float


@dataclass(frozen=True)
class Exclusion:
    """An exclusion in the log: see ``NewExclusion``; the last one of a yield counts."""

    id: int
    yield_id: int
    excluded: bool
    reason: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class Mark:
    """A mark in the log: see ``NewMark``."""

    id: int
    kind: MarkKind
    day: date
    note: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class Attachment:
    """An attachment in the log: see ``NewAttachment``."""

    id: int
    yield_id: int
    sha256: str
    name: str
    who: str
    logged_at: datetime


@dataclass(frozen=True)
class BeliefRecord:
    """A belief about effective thickness as it was made; never rewritten.

    Attributes:
        id: number of the record; the last one is the newest.
        made_at: UTC.
        program_version: of the program that made it.
        key: of what it rests on; the same key, the same belief.
        document: what it says and what it rests on.
    """

    id: int
    made_at: datetime
    program_version: str
    key: str
    document: Document


@dataclass(frozen=True)
class LoggedOffer:
    """One valuation as it was made; never rewritten."""

    id: int
    lot_id: int
    made_at: datetime
    program_version: str
    document: Document


@dataclass(frozen=True)
class Contents:
    """Entries of the whole log, or of one lot, each kind in the order in which it was logged."""

    lots: tuple[LoggedLot, ...]
    photos: tuple[PhotoRecord, ...]
    estimates: tuple[Estimate, ...]
    purchases: tuple[Purchase, ...]
    yields: tuple[Yield, ...]
    offers: tuple[LoggedOffer, ...]
    yield_lots: tuple[YieldLot, ...] = ()
    exclusions: tuple[Exclusion, ...] = ()
    marks: tuple[Mark, ...] = ()
    attachments: tuple[Attachment, ...] = ()
    beliefs: tuple[BeliefRecord, ...] = ()
    batches: BatchRecords = field(default_factory=BatchRecords)
    money: tuple[MoneyEntry, ...] = ()
    lot_changes: tuple[LotChange, ...] = ()

    def current_yields(self) -> tuple[Yield, ...]:
        """Yields that no newer one corrects."""
        return in_force(self.yields)

    def current_purchases(self) -> tuple[Purchase, ...]:
        """Purchases that no newer one corrects."""
        return in_force(self.purchases)

    def current_money(self) -> tuple[MoneyEntry, ...]:
        """Costs, sales and settlements that no newer entry corrects."""
        return in_force(self.money)

    def first_entry(self, gold: Yield) -> Yield:
        """The entry that a chain of corrections began with."""
        by_number = {y.id: y for y in self.yields}
        while gold.corrects is not None:
            gold = by_number[gold.corrects]
        return gold

    def batch_of(self, gold: Yield) -> int | None:
        """Number of the batch that a yield came from, or None."""
        first = self.first_entry(gold).id
        return next((b.batch_id for b in self.batches.yields if b.yield_id == first), None)

    def excluded(self) -> dict[int, Exclusion]:
        """Why yields are not learned from, by their number."""
        last = {e.yield_id: e for e in self.exclusions}
        return {number: e for number, e in last.items() if e.excluded}

    def latest_estimates(self) -> tuple[Estimate, ...]:
        """The last estimate of each photo in each lot: a photo that was measured again counts once."""
        return tuple({(e.lot_id, e.photo_sha256): e for e in self.estimates}.values())
