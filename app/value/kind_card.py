"""The kind of boards, which decides many bids and which no photo shows: asked in the card, each with its bid."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.common.show import as_typed, remark
from app.common.trouble import telling
from app.value.entered import Entered
from app.value.lot_form import LotPhoto, lot_as_shown
from calibration.errors import GraderError
from calibration.kinds import KINDS_OF_BOARDS, UNKNOWN, board_kind
from grader.bid import bid_for
from grader.lot import Lot, estimate_lot
from grader.measured import Measured
from grader.units import format_share, money_down
from grader.valuation import Assumptions, Offer

_KNOWN = "desk-bids-by-kind"
_DRAWS = 20_000  # a fifth of a bid's draws: shown as "about", and computed in a fifth of the time
_ALIKE = 0.02  # bids closer than this share of the larger one are shown as the same
_DESIGNS = {"one": "one design", "many": "a mixed pile"}
_ACROSS = 2
Answer = tuple[str, str]  # kind, designs


def part_to_name(offer: Offer, shown: Sequence[LotPhoto]) -> str | None:
    """The first part whose contacts, judging by its kind, may be flash gold, and of which no more is known."""
    told = {s.part for s in shown if s.plating.thickness}
    return next(
        (str(p["name"]) for p in offer.lot if p.get("flash_share") is not None and p["name"] not in told), None
    )


def show_kind(
    place: DeltaGenerator,
    offer: Offer,
    figures: Assumptions,
    found: Entered,
    shown: Sequence[LotPhoto],
    measured: Sequence[Measured],
) -> None:
    """Ask in the card; bids appear one after another, because each takes a moment.

    Args:
        place: in the card.
        offer: for the lot as it is now.
        figures: behind the offer.
        found: the texts of the form.
        shown: the description of each photo.
        measured: the photos.
    """
    part = part_to_name(offer, shown)
    if part is None:
        return
    now = next((s.plating.kind, s.plating.designs) for s in shown if s.part == part)
    kind, designs = now[0], now[1] or "one"

    def bid(answer: Answer) -> float | None:
        told = tuple(s if s.part != part else _told(s, answer) for s in shown)
        return _bid(lot_as_shown(told, found.amounts, measured), figures)

    with place:
        if kind in ("", UNKNOWN):
            _ask_kind(part, designs, offer, bid)
        else:
            _ask_designs(part, (kind, designs), offer, bid)


def _ask_kind(part: str, designs: str, offer: Offer, bid: Callable[[Answer], float | None]) -> None:
    kinds = sorted((k for k in KINDS_OF_BOARDS if k != UNKNOWN), key=lambda k: board_kind(k).mean_flash_share)
    ends = [bid((kinds[0], designs)), bid((kinds[-1], designs))]
    if None in ends:
        return
    if not _differ([e for e in ends if e is not None]):
        remark("Nobody named the kind of boards; for this lot, that hardly changes the bid.")
        return
    share = next(p["flash_share"]["value"] for p in offer.lot if p["name"] == part)
    st.markdown(f"**First: what kind of boards are these?**{_about(part, offer)}")
    remark(f"Where nobody knows, {format_share(share)} have flash gold, too thin to be worth stripping. If they are")
    with st.container(key="kinds"):
        for first in range(0, len(kinds), _ACROSS):
            for column, kind in zip(st.columns(_ACROSS, gap="xsmall"), kinds[first : first + _ACROSS], strict=False):
                with column:
                    _button(part, (kind, designs), board_kind(kind).words, bid((kind, designs)), offer)


def _ask_designs(part: str, now: Answer, offer: Offer, bid: Callable[[Answer], float | None]) -> None:
    kind, designs = now
    other = "many" if designs == "one" else "one"
    st.markdown(f"**Taken to be {as_typed(board_kind(kind).words)}, {_DESIGNS[designs]}**{_about(part, offer)}")
    with st.container(key="kinds"):
        left, right = st.columns(_ACROSS, gap="xsmall")
        with left:
            _button(part, (kind, other), _DESIGNS[other], bid((kind, other)), offer)
        with right:
            st.button(
                "another kind",
                key=f"desk-kind-{part}-again",
                on_click=_choose,
                args=(part, ("", designs)),
                width="stretch",
            )


def _button(part: str, answer: Answer, words: str, amount: float | None, offer: Offer) -> None:
    if amount is None:
        return
    told = f"about {money_down(amount, offer.assumptions.currency)}" if amount else f"0 {offer.assumptions.currency}"
    st.button(
        f"{as_typed(words)}  \n**{as_typed(told)}**",
        key=f"desk-kind-{part}-{'-'.join(answer)}",
        on_click=_choose,
        args=(part, answer),
        width="stretch",
    )


def _about(part: str, offer: Offer) -> str:
    return "" if len(offer.lot) == 1 else f" ({as_typed(part)})"


def _differ(amounts: Sequence[float]) -> bool:
    return max(amounts) - min(amounts) > _ALIKE * max(amounts)


@telling
def _choose(part: str, answer: Answer) -> None:
    st.session_state[f"kind-{part}"], st.session_state[f"designs-{part}"] = answer


def _told(shown: LotPhoto, answer: Answer) -> LotPhoto:
    return replace(shown, plating=replace(shown.plating, kind=answer[0], designs=answer[1]))


def _bid(lot: Lot, figures: Assumptions) -> float | None:
    """The highest price for a lot; None where it cannot be computed. The prices for the last lot are kept."""
    known: list[tuple[Lot, Assumptions, float | None]] = st.session_state.setdefault(_KNOWN, [])
    for old, by, amount in known:
        if (old, by) == (lot, figures):
            return amount
    try:
        offer = bid_for(estimate_lot(lot), figures, today=date.today(), draws=_DRAWS)
        amount = 0.0 if offer.reason else offer.highest.price
    except GraderError:
        amount = None
    st.session_state[_KNOWN] = [*known[-2 * len(KINDS_OF_BOARDS) :], (lot, figures, amount)]
    return amount
