"""Entries of the log: new ones, which are checked, and logged ones. All are frozen."""

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
    """A lot as bought or offered; seller and kind of boards (``part``) as typed."""

    name: LotName
    seller: Line = ""
    note: Line = ""
    part: Line = ""


class PhotoRecord(Entry):
    """A measured photo; the log never stores its bytes.

    Attributes:
        sha256: of the file's bytes, hex.
        name: known to the user.
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
    """The photo of a measurement's document.

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
    """Gold weighed after refining.

    Attributes:
        mass_mg: as weighed, before multiplying by the fineness; zero if nothing was recovered.
        uncertainty_mg: standard uncertainty (one standard deviation) of the mass.
        fineness: share of gold in the weighed metal, above 0, up to 1; None if unknown.
        fineness_known: own test, assumption or laboratory assay; None without a fineness.
        note: free text.
        weighed_on: the day.
        who: recorded it.
        carried_in_mg: fine gold in it from elsewhere, such as an earlier batch's filters.
        lost_mg: fine gold known to be left behind or lost by accident, such as a spill; regular losses
            are not included.
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
    """Excludes a yield from learning, or includes it again.

    Attributes:
        excluded: False includes it again.
        reason: why.
        who: recorded it.
    """

    excluded: bool = True
    reason: Annotated[Line, StringConstraints(min_length=1)]
    who: Line = ""


class NewMark(Entry):
    """Marks a day of change.

    Attributes:
        kind: ``process``: the process changed, so recovery is learned again and thickness is not; ``reset``:
            yields weighed up to this day and logged before the mark no longer count for learning.
        day: the first day of the new process, or the last day that no longer counts.
        note: what changed, or why.
        who: recorded it.
    """

    kind: MarkKind
    day: date
    note: Annotated[Line, StringConstraints(min_length=1)]
    who: Line = ""


class NewAttachment(Entry):
    """A file that belongs to a yield, such as an assay report; the log never stores its bytes."""

    sha256: Sha256
    name: Line
    who: Line = ""


@dataclass(frozen=True)
class LoggedLot:
    """A lot in the log.

    Attributes:
        created_at: UTC.
        archived: whether it was put away; its entries still count.
    """

    id: int
    name: str
    seller: str
    note: str
    created_at: datetime
    part: str = ""
    archived: bool = False

    def as_new(self, **changes: Any) -> NewLot:
        """Its details with some changes, as a new entry.

        Raises:
            UsageError: as ``checked``.
        """
        return checked(NewLot, **{**{name: getattr(self, name) for name in NewLot.model_fields}, **changes})


@dataclass(frozen=True)
class LotChange:
    """The details of a lot before the change at ``logged_at``, UTC."""

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
    """One measurement of one photo as made; never rewritten.

    Attributes:
        id: number of the estimate, increasing.
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
        """The measurement's record.

        Raises:
            DataFileError: it was damaged after logging, or comes from a later version.
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
        """Copy the entry with some changes, as a correction.

        Raises:
            UsageError: as ``checked``.
        """
        same = {name: getattr(self, name) for name in NewYield.model_fields}
        return checked(NewYield, **{**same, **changes})


@dataclass(frozen=True)
class YieldLot:
    """A lot that went into a yield: ``copies`` times the boards in its photos."""

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
    """A belief about effective thickness as made; never rewritten.

    Attributes:
        id: number of the record, increasing.
        made_at: UTC.
        program_version: of the program that made it.
        key: identifies its data; the same key means the same belief.
        document: its content and its data.
    """

    id: int
    made_at: datetime
    program_version: str
    key: str
    document: Document


@dataclass(frozen=True)
class LoggedOffer:
    """One valuation as made; never rewritten."""

    id: int
    lot_id: int
    made_at: datetime
    program_version: str
    document: Document


@dataclass(frozen=True)
class Contents:
    """Entries of the whole log, or of one lot, each kind in the order of logging."""

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
        """Yields without superseded ones."""
        return in_force(self.yields)

    def current_purchases(self) -> tuple[Purchase, ...]:
        """Purchases without superseded ones."""
        return in_force(self.purchases)

    def current_money(self) -> tuple[MoneyEntry, ...]:
        """Costs, sales and settlements without superseded ones."""
        return in_force(self.money)

    def first_entry(self, gold: Yield) -> Yield:
        """The first entry of a chain of corrections."""
        by_number = {y.id: y for y in self.yields}
        while gold.corrects is not None:
            gold = by_number[gold.corrects]
        return gold

    def batch_of(self, gold: Yield) -> int | None:
        """Number of the batch that a yield came from, or None."""
        first = self.first_entry(gold).id
        return next((b.batch_id for b in self.batches.yields if b.yield_id == first), None)

    def excluded(self) -> dict[int, Exclusion]:
        """Reasons for excluded yields, by number."""
        last = {e.yield_id: e for e in self.exclusions}
        return {number: e for number, e in last.items() if e.excluded}

    def latest_estimates(self) -> tuple[Estimate, ...]:
        """The latest estimate of each photo in each lot, so that a photo measured again counts once."""
        return tuple({(e.lot_id, e.photo_sha256): e for e in self.estimates}.values())
