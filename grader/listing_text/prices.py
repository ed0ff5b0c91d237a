"""Asking price of a listing's boards, and postage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from grader.listing_text.found import Found
from grader.listing_text.layout import Span, TextLayout
from grader.listing_text.numbers import NUMBER, plain_number
from grader.listing_text.words import (
    any_of,
    compiled,
    ends_with,
    phrases,
    plain_letters,
    says,
    starts_with,
    word_tables,
)
from grader.units import currency_signs


@dataclass(frozen=True)
class _Amount:
    """Money in a listing.

    Attributes:
        number: number with a decimal point.
        currency: its code, or a sign that several currencies share.
        span: its place in the text.
        per: quantity that it is for: "lot", "board", or a unit of weight.
    """

    number: str
    currency: str
    span: Span
    per: str = "lot"

    @property
    def value(self) -> str:
        is_code = self.currency.isalpha() and len(self.currency) == 3
        money = f"{self.number} {self.currency}" if is_code else f"{self.currency}{self.number}"
        return money if self.per == "lot" else f"{money}/{self.per}"


@dataclass(frozen=True)
class StatedPrices:
    """A listing's statements about money."""

    asking: Found | None = None
    postage: Found | None = None
    currency: Found | None = None


def amounts_in(layout: TextLayout) -> list[Span]:
    """Places where a listing names money of any kind."""
    return [amount.span for amount in _written(layout)]


def prices_of(layout: TextLayout, count: str | None = None) -> StatedPrices:
    """Asking price, postage and currency.

    Args:
        layout: the listing.
        count: number of boards it offers, to check whether a price for each and a price for all agree.
    """
    amounts = _written(layout)
    spans = [a.span for a in amounts]
    words = {a: (layout.before(a.span, spans), layout.after(a.span, spans)) for a in amounts}
    sending: list[_Amount] = []
    for previous, a in zip([None, *amounts], amounts, strict=False):
        or_that = previous in sending and ends_with(words[a][0], "alternative")
        sending += [a] if or_that or _is_postage(*words[a]) else []
    offers = [a for a in amounts if a not in sending and not _is_no_price(layout, a, *words[a])]
    labelled = [a for a in offers if says(words[a][0], "price")]
    if labelled:
        labelled += [a for a in offers if a not in labelled and ends_with(words[a][0], "alternative")]
    asking = _asking(_without_repeats(labelled or offers, words), count)
    included = asking is not None and _includes_postage(*words[asking])
    postage = None if included else _postage(layout, sending, words, spans)
    if postage is None and not sending and (free := _free(layout, included=included)) is not None:
        postage = layout.found(_nothing(asking, amounts), free)
    found = None if asking is None else layout.found(asking.value, layout.with_label(asking.span, spans, "price"))
    return StatedPrices(found, postage, _currency(layout, asking, amounts))


@cache
def _signs() -> dict[str, str]:
    """Signs, codes and words of currencies, folded, with the code that each means; a shared sign means itself."""
    known = {plain_letters(code): code for code in word_tables()["currencies"]["codes"].split()}
    known |= {plain_letters(word): code for code, words in word_tables()["currency_words"].items() for word in words}
    return known | {plain_letters(sign): code for sign, code in currency_signs().items()}


def _written(layout: TextLayout) -> list[_Amount]:
    money = "(?:" + "|".join(_sign_pattern(s) for s in sorted(_signs(), key=lambda s: (-len(s), s))) + ")"
    number = rf"{NUMBER}(?:[.,]-+)?"
    per = rf"(?:\s*(?P<per>{phrases('per')}|(?<=[\d€$£.-])\s*/)\s*(?P<unit>{_per_units()})(?![^\W_]))?"
    pattern = compiled(
        rf"(?:(?<![^\W_])(?P<sign1>{money})\s*(?P<number1>{number})(?:\s*(?P<code>{money}))?"
        rf"|(?<![\w.,/-])(?P<number2>{number})\s*(?P<sign2>{money})){per}"
    )
    amounts: list[_Amount] = []
    shared = _one_code(layout)
    for m in pattern.finditer(layout.folded):
        digits = compiled(NUMBER).match(m["number1"] or m["number2"])
        read = plain_number(digits[0], comma=None, grouped_by_three=True) if digits else None
        if read is None:
            continue
        sign = _signs()[_key(m["code"] or m["sign1"] or m["sign2"])]
        code = shared.get(sign, sign)
        end = m.end("per") - len(m["per"]) if m["per"] and m["unit"] is None else m.end()
        amounts.append(_Amount(read, code, (m.start(), end), _per(layout, m)))
    return amounts


def _key(sign: str) -> str:
    return " ".join(sign.split()).replace(" $", "$")


def _sign_pattern(sign: str) -> str:
    escaped = "".join(rf"\{c}" if not c.isalnum() else c for c in sign)
    if sign.endswith("$") and len(sign) > 1:
        escaped = rf"{escaped[:-2]}\s?\$"
    return escaped if not sign[-1].isalpha() else rf"{escaped}(?![^\W_])"


def _one_code(layout: TextLayout) -> dict[str, str]:
    """A shared sign and the code that it stands for, where the listing names exactly one that uses it."""
    codes = {
        _signs()[c] for c in compiled(any_of(word_tables()["currencies"]["codes"].split())).findall(layout.folded)
    }
    dollars = {code for code in codes if code in _DOLLARS}
    return {"$": dollars.pop()} if len(dollars) == 1 else {}


_DOLLARS = frozenset(["USD", "CAD", "AUD", "NZD", "HKD", "SGD"])


@cache
def _per_units() -> str:
    units = word_tables()["weight_units"]
    return any_of([*units["kg"], *units["lb"], *units["g"], *units["oz"], "ozt", "dwt", "troy ounce", "toz", "lot"])


def _per(layout: TextLayout, m: object) -> str:
    span = m.span()  # type: ignore[attr-defined]
    unit = m["unit"]  # type: ignore[index]
    if unit is not None:
        for known, words in word_tables()["weight_units"].items():
            if unit in map(plain_letters, words):
                return str(known)
        return "lot" if unit == "lot" else "ozt"
    after = layout.folded[span[1] :]
    each = rf"\s*(?:/\s*)?(?:{phrases('each')}|(?<=/)\s*(?:{phrases('pieces')}|{phrases('boards')}))"
    if compiled(each).match(after) or compiled(rf"\s*/\s*(?:{phrases('pieces')}|{phrases('boards')})").match(after):
        return "board"
    return "board" if ends_with(layout.before(span), "each") else "lot"


def _is_postage(before: str, after: str) -> bool:
    if _includes_postage(before, after):
        return False
    return (
        says(before, "postage")
        or starts_with(after, "postage")
        or compiled(rf"\s*(?:for|fur|pour|por|za)\s+{phrases('postage')}|\s+\w+\s+{phrases('postage')}").match(after)
        is not None
    )


def _includes_postage(before: str, after: str) -> bool:
    free, post = phrases("free"), phrases("postage")
    free_post = rf"{free}\.?\s+{post}|{post}\s+{free}|{phrases('free_alone')}"
    return (
        compiled(free_post).search(after) is not None
        or compiled(rf"including\s+{phrases('postage')}").search(before) is not None
    )


def _is_no_price(layout: TextLayout, amount: _Amount, before: str, after: str) -> bool:
    if amount.per in ("g", "oz", "ozt") or says(before, "no_price") or says(after, "no_price"):
        return True
    if compiled(r"\d\s*(?:-|to|bis)\s*$").search(layout.just_before(amount.span[0])):
        return True  # the upper end of a range
    line = layout.folded[layout.folded.rfind("\n", 0, amount.span[0]) + 1 : amount.span[0]]
    return ends_with(before, "starts_from", "limit_before") or (says(line, "limit_before") and says(line, "postage"))


def _without_repeats(amounts: Sequence[_Amount], words: dict[_Amount, tuple[str, str]]) -> list[_Amount]:
    """Amounts without repeats of the same price roughly converted into another currency."""
    first = amounts[0].currency if amounts else ""
    return [a for a in amounts if a.currency == first or not ends_with(words[a][0], "about_in_another_currency")]


def _asking(amounts: Sequence[_Amount], count: str | None) -> _Amount | None:
    if len({a.value for a in amounts}) <= 1:
        return amounts[0] if amounts else None
    whole = [a for a in amounts if a.per == "lot"]
    each = [a for a in amounts if a.per == "board"]
    if len({a.value for a in whole}) != 1 or len(whole) + len(each) != len(amounts):
        return None
    agree = (
        count is not None
        and count.isdigit()
        and all(
            abs(float(a.number) * int(count) - float(whole[0].number)) <= 0.05 * float(whole[0].number) for a in each
        )
    )
    return whole[0] if agree else None


def _postage(
    layout: TextLayout, sending: Sequence[_Amount], words: dict[_Amount, tuple[str, str]], spans: Sequence[Span]
) -> Found | None:
    several = len({a.value for a in sending}) > 1
    if not sending or several or any(ends_with(words[a][0], "starts_from", "limit_before") for a in sending):
        return None
    if _abroad(layout, sending[0], spans):
        return None
    return layout.found(sending[0].value, layout.with_label(sending[0].span, spans, "postage"))


def _abroad(layout: TextLayout, amount: _Amount, spans: Sequence[Span]) -> bool:
    """Whether another amount follows on the line: postage to another destination."""
    end = layout.folded.find("\n", amount.span[1])
    line_end = len(layout.folded) if end < 0 else end
    return any(amount.span[1] <= a < line_end for a, _ in spans)


def _free(layout: TextLayout, *, included: bool) -> Span | None:
    free, post = phrases("free"), phrases("postage")
    pattern = compiled(
        rf"(?:{free}\.?\s+(?:\w+\s+)?{post}|{post}\s*[:=-]?\s*(?:is\s+)?(?:\w+\s+)?{free}|{phrases('free_alone')})"
    )
    for m in pattern.finditer(layout.folded):
        alone = compiled(phrases("free_alone")).fullmatch(m[0]) is not None
        if starts_with(layout.after(m.span()), "not_always_free") or layout.before(m.span()).rstrip().endswith("not"):
            continue
        if not alone or included or m[0] not in ("shipped", "delivered"):
            return m.span()
    return None


def _nothing(asking: _Amount | None, amounts: Sequence[_Amount]) -> str:
    currencies = {a.currency for a in amounts}
    currency = asking.currency if asking is not None else currencies.pop() if len(currencies) == 1 else ""
    return _Amount("0", currency, (0, 0)).value if currency else "0"


def _currency(layout: TextLayout, asking: _Amount | None, amounts: Sequence[_Amount]) -> Found | None:
    of = [asking] if asking is not None else [a for a in amounts if a.per not in ("g", "oz", "ozt")]
    codes = {a.currency for a in of}
    if len(codes) != 1 or not (code := codes.pop()).isalpha():
        return None
    return layout.found(code, of[0].span)
