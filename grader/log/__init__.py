"""The log: measurements, offers, payments and yields, kept in one local file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from grader.log.batch_model import (
    BatchRecord,
    BatchRecords,
    CarryOver,
    NewAmount,
    NewBatch,
    NewCarryOver,
    NewLoad,
    NewStrike,
    NewTest,
)
from grader.log.entry import checked, folded
from grader.log.export import TABLES, TableName, batches_as_json, to_csv, to_json
from grader.log.model import (
    Attachment,
    BeliefRecord,
    Contents,
    Estimate,
    Exclusion,
    LoggedLot,
    LoggedOffer,
    LotChange,
    Mark,
    NewAttachment,
    NewExclusion,
    NewLot,
    NewMark,
    NewYield,
    PhotoRecord,
    Yield,
    YieldLot,
    photo_of,
)
from grader.log.money_model import MoneyEntry, MoneyKind, NewMoney, NewPurchase, Purchase, first_of

if TYPE_CHECKING:
    from grader.log.store import Log, default_path, open_log

__all__ = [
    "TABLES",
    "Attachment",
    "BatchRecord",
    "BatchRecords",
    "BeliefRecord",
    "CarryOver",
    "Contents",
    "Estimate",
    "Exclusion",
    "Log",
    "LoggedLot",
    "LoggedOffer",
    "LotChange",
    "Mark",
    "MoneyEntry",
    "MoneyKind",
    "NewAmount",
    "NewAttachment",
    "NewBatch",
    "NewCarryOver",
    "NewExclusion",
    "NewLoad",
    "NewLot",
    "NewMark",
    "NewMoney",
    "NewPurchase",
    "NewStrike",
    "NewTest",
    "NewYield",
    "PhotoRecord",
    "Purchase",
    "TableName",
    "Yield",
    "YieldLot",
    "batches_as_json",
    "checked",
    "default_path",
    "first_of",
    "folded",
    "open_log",
    "photo_of",
    "to_csv",
    "to_json",
]

_IN_STORE = ("Log", "default_path", "open_log")


def __getattr__(name: str) -> Any:
    """Load the store, and SQLAlchemy with it, only when a log is opened: commands without one start faster."""
    if name in _IN_STORE:
        from grader.log import store

        return getattr(store, name)
    raise AttributeError(name)
