"""What to have ready for a batch, as a list to shop by."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from calibration.digits import as_given
from grader.batch.model import BatchPlan, ReagentAmount
from grader.table import Table
from grader.units import format_money

TITLE = "Shopping list"
# One thing in the shop, used in several places; what is not named here is bought by itself. Water is from the tap.
_BOUGHT_AS: Mapping[str, str] = {"strip_acid": "hydrochloric", "gold_acid": "hydrochloric"}
_FREE = ("water",)
_CONTAINER = "container_"
_OF_A_LITRE = 1000.0
_LEAST_SHOWN = 0.005  # of a currency's unit


@dataclass(frozen=True)
class ToBuy:
    """One thing to have ready.

    Attributes:
        key: of its price.
        what: in plain words.
        amount: enough in 95 of 100 cases, rounded up.
        unit: ml, g, or empty for pieces.
        uses: what it is for, each with how much.
        about: what so much costs, by the middle of its price; None if it is bought with nothing.
        is_example: whether that price is a shipped example.
    """

    key: str
    what: str
    amount: float
    unit: str
    uses: tuple[str, ...]
    about: float | None
    is_example: bool


def shopping(plan: BatchPlan) -> tuple[ToBuy, ...]:
    """Everything that a batch takes: reagents, and vessels for it and for its waste."""
    groups: dict[str, list[ReagentAmount]] = {}
    for amount in plan.amounts:
        groups.setdefault(_BOUGHT_AS.get(amount.key, amount.key), []).append(amount)
    found = [_bought(plan, key, amounts) for key, amounts in groups.items() if sum(a.to_have for a in amounts) > 0]
    return (*found, *_vessels(plan))


def shopping_table(plan: BatchPlan) -> Table:
    """The list as a table."""
    rows = [
        (
            each.what,
            ("room for " if each.key.startswith(_CONTAINER) else "") + _told(each.amount, each.unit),
            "; ".join(each.uses),
            _price(each, plan.currency),
        )
        for each in shopping(plan)
    ]
    return Table(("", "Have ready", "For", "About"), tuple(rows), TITLE)


def _bought(plan: BatchPlan, key: str, amounts: list[ReagentAmount]) -> ToBuy:
    cost = next((c for c in plan.costs if c.key == key), None)
    planned = sum(a.planned.value for a in amounts)
    ready = rounded_up(sum(a.to_have for a in amounts), amounts[0].unit)
    about = None if cost is None or planned <= 0 or key in _FREE else cost.amount.value * ready / planned
    several = len(amounts) > 1
    uses = tuple(
        f"{_purpose(a)}{f', {_told(rounded_up(a.to_have, a.unit), a.unit)}' if several else ''}" for a in amounts
    )
    what = cost.title if cost is not None else amounts[0].title.partition(",")[0]
    return ToBuy(key, what, ready, amounts[0].unit, uses, about, cost is not None and cost.example)


def _vessels(plan: BatchPlan) -> list[ToBuy]:
    size = _told(plan.vessels.volume_ml, "ml")
    found = [ToBuy("vessel", f"vessels of {size}", plan.vessels.count, "", ("the loads",), None, is_example=False)]
    found += [
        ToBuy(
            f"{_CONTAINER}{waste.key}",
            "closed, labelled containers",
            rounded_up(waste.amount.high, waste.unit),
            waste.unit,
            (waste.title,),
            None,
            is_example=False,
        )
        for waste in plan.waste
        if waste.amount.high > 0
    ]
    return found


def rounded_up(amount: float, unit: str) -> float:
    """To two digits; pieces to whole ones."""
    if amount <= 0 or not unit:
        return float(math.ceil(amount - 1e-9))
    step = 10.0 ** (math.floor(math.log10(amount)) - 1)
    return math.ceil(amount / step - 1e-9) * step


def _told(amount: float, unit: str) -> str:
    if unit in ("ml", "g") and amount >= _OF_A_LITRE:
        return f"{as_given(amount / _OF_A_LITRE)} {'l' if unit == 'ml' else 'kg'}"
    return f"{as_given(amount)} {unit}".strip()


def _purpose(amount: ReagentAmount) -> str:
    _, _, purpose = amount.title.partition(", ")
    return purpose or ""


def _price(each: ToBuy, currency: str) -> str:
    if each.about is None:
        return ""
    price = f"under 0.01 {currency}" if each.about < _LEAST_SHOWN else format_money(each.about, currency)
    return f"{price} (example price)" if each.is_example else price
