"""The questions on the bench: prices, thresholds, rules for cutting, the contents of each photo."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import TypeVar

import streamlit as st

from app.bench.boards import BenchPhoto
from app.common.doubts import believed
from app.common.preferences import chosen_currency
from app.common.show import as_typed, remark
from app.lots.desk import found_good
from app.lots.lot_folder import Kept
from app.scale.form import read
from calibration.errors import UsageError
from grader.cut import CutRules, LongestPiece, Turned, Vessel
from grader.grade import Measure, Thresholds, load_thresholds, with_thresholds
from grader.units import parse_length_mm, parse_mass_g, parse_pair_mm, parse_price_per_mass, parse_share
from grader.valuation import Assumptions, with_given
from grader.valuation.doubts import price_doubt, price_doubts
from grader.valuation.gold_price import gold_price_in_full

_T = TypeVar("_T")
_SENT = "desk-bench-sent"
_FRONT = "a front"
_BY: dict[Measure, str] = {"gram": "per gram that is processed", "minute": "per minute of work"}
_TURNED: dict[Turned | None, str] = {
    None: "Tell it from their outlines",
    "sideways": "Like the page of a book: left and right changed places",
    "upwards": "Over the top edge: top and bottom changed places",
}


@dataclass(frozen=True)
class BenchAnswers:
    """The answers.

    Attributes:
        prices: with a gold price.
        thresholds: the user's, or the shipped ones.
        by: criterion for ranking.
        rules: for cutting.
        shown: the photos of fronts.
    """

    prices: Assumptions
    thresholds: Thresholds
    by: Measure
    rules: CutRules
    shown: tuple[BenchPhoto, ...]


def ask_bench_photos(photos: Sequence[Kept]) -> tuple[BenchPhoto, ...] | None:
    """Ask what each photo shows; None while an entry is wrong, with an error beside it."""
    names = {photo.sha256: photo.name for photo in photos}
    back_of: dict[str, str] = {}
    parts: dict[str, str] = {}
    turned: dict[str, Turned | None] = {}
    weighed: dict[str, float | None] = {}
    good = []
    with st.expander("What do the photos show?", icon=":material/photo_library:", expanded=len(photos) > 1):
        for photo in photos:
            others = {sha: f"the back of {name}" for sha, name in names.items() if sha != photo.sha256}
            key = photo.sha256[:12]
            if others:
                st.markdown(f"**{as_typed(photo.name)}**")
                parts[photo.sha256], front = _part_and_face(key, others)
                if front is not None:
                    back_of[photo.sha256] = front
                    turned[front] = st.selectbox(
                        "How were the boards turned over, each in its place?",
                        list(_TURNED),
                        format_func=_TURNED.__getitem__,
                        key=f"turned-{key}",
                        persist_state="session",
                    )
                    continue
            text = st.text_input(
                "Total weight, components included (optional)",
                key=f"weighed-{key}",
                placeholder="72 g",
                persist_state="session",
            )
            weighed[photo.sha256], fine = read(text, parse_mass_g)
            good.append(fine)
    backs = {front: back for back, front in back_of.items()}
    shown = tuple(
        BenchPhoto(sha, parts.get(sha, ""), backs.get(sha), turned.get(sha), weighed.get(sha))
        for sha in names
        if sha not in back_of
    )
    return shown if all(good) else None


def was_sent() -> bool:
    """Whether the last action submitted the form."""
    return bool(st.session_state.get(_SENT))


def _part_and_face(key: str, others: Mapping[str, str]) -> tuple[str, str | None]:
    """A photo's part, and the photo whose backs it shows, or None."""
    left, right = st.columns(2)
    with left:
        part = st.text_input(
            "Part", key=f"part-{key}", placeholder="same name: plated alike", persist_state="session"
        )
    with right:
        chosen = st.selectbox(
            "Shows",
            [_FRONT, *others],
            format_func=partial(_shows, others),
            key=f"shows-{key}",
            persist_state="session",
        )
    return (part or "").strip(), chosen if chosen in others else None


def _readable(examples: Thresholds, name: str, text: str) -> None:
    """Read one threshold; currencies are compared when all are known.

    Raises:
        UsageError: as ``with_thresholds``.
    """
    try:
        with_thresholds(examples, **{name: text})
    except UsageError as error:
        if error.code != "currencies-differ":
            raise


def _shows(others: Mapping[str, str], sha256: str) -> str:
    return others.get(sha256, _FRONT)


def ask(base: Assumptions, shown: tuple[BenchPhoto, ...] | None, thickness_mm: float | None) -> BenchAnswers | None:
    """Draw the form; None until it is submitted complete, or while a field is wrong, with an error beside it."""
    good: list[bool] = []

    def field(label: str, key: str, placeholder: str, parse: Callable[[str], _T]) -> tuple[str | None, _T | None]:
        text = (st.text_input(label, key=key, placeholder=placeholder, persist_state="session") or "").strip()
        value, fine = read(text, parse)
        good.append(fine)
        if fine:
            found_good(key)
        return text or None, value

    examples = load_thresholds()
    st.session_state.setdefault("spot-date", date.today())
    with st.form("bench", border=False):
        left, right = st.columns(2)
        with left:
            money = chosen_currency() or base.currency
            _, full = field(
                "Gold price today",
                "spot",
                f"such as 2650, or 85 {money}/g",
                lambda text: (known := gold_price_in_full(text, money), parse_price_per_mass(known.text)),
            )
            spot, price = (None, None) if full is None else (full[0].text, full[1])
            if full is not None and full[0].said:
                remark(full[0].said)
        with right:
            on = st.date_input("Day of that price", key="spot-date", persist_state="session")
        left, right = st.columns(2)
        with left:
            _, vessel = field(
                "Vessel: inner diameter and height of liquid", "vessel", "100 x 100 mm (a 1 L beaker)", parse_pair_mm
            )
        with right:
            by: Measure = st.selectbox(
                "Rank by value", list(_BY), format_func=_BY.__getitem__, key="rank-by", persist_state="session"
            )
        with st.expander("What makes a board worth processing", icon=":material/tune:"):
            remark("What you leave empty is taken from examples, and the result says so.")
            texts = {
                name: field(label, key, placeholder, partial(_readable, examples, name))
                for name, label, key, placeholder in (
                    ("least_per_gram", "Least value per gram processed", "least-per-gram", "such as 0.05 USD/g"),
                    (
                        "least_per_minute",
                        "Least value per minute of work",
                        "least-per-minute",
                        "such as 0.10 USD/min",
                    ),
                    ("cost_per_gram", "What processing a gram costs", "cost-per-gram", "such as 0.03 USD/g"),
                    (
                        "sale_least_per_minute",
                        "Least that selling whole brings per minute",
                        "sale-least",
                        "such as 0.10 USD/min",
                    ),
                )
            }
        with st.expander("How to cut", icon=":material/content_cut:"):
            left, right = st.columns(2)
            with left:
                _, longest = field("Longest piece, instead of a vessel", "longest", "such as 120 mm", parse_length_mm)
                _, lose = field("Share of the gold that may be thrown away", "may-lose", "0.5 %", parse_share)
            with right:
                _, kerf = field("Width that a saw takes", "kerf", "none: a shear", parse_length_mm)
                _, clear = field("Between a cut and gold", "clearance", "0.5 mm", parse_length_mm)
            through = st.selectbox(
                "Cuts through contacts",
                ["never", "where nothing else fits"],
                key="through-contacts",
                persist_state="session",
            )
        sent = st.form_submit_button("Sort and plan", type="primary", width="stretch")
    st.session_state[_SENT] = sent
    if spot is None and base.spot is None:
        st.info("Look up today's gold price and enter it: none is assumed here.", icon=":material/info:")
        return None
    typed = None if price is None else price_doubt(price)
    meant = believed(price_doubts(base) if price is None else () if typed is None else (typed,), "spot")
    if not sent or not all(good) or shown is None or not meant:
        return None
    standard = Vessel(100.0, 100.0)
    wide, high = vessel if vessel is not None else (standard.diameter_mm, standard.fill_mm)
    rules = CutRules(
        fit=LongestPiece(longest)
        if longest is not None
        else Vessel(wide, high, thickness_mm or standard.thickness_mm),
        most_lost=CutRules.most_lost if lose is None else lose,
        kerf_mm=kerf or 0.0,
        clearance_mm=CutRules.clearance_mm if clear is None else clear,
        through="contacts" if through != "never" else "nothing",
    )
    return BenchAnswers(
        prices=with_given(base, spot=spot, spot_date=on if spot is not None else None),
        thresholds=with_thresholds(examples, **{name: text for name, (text, _) in texts.items()}),
        by=by,
        rules=rules,
        shown=shown,
    )
