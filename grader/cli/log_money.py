"""``grader log``: what a lot cost and brought, and corrections of these entries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated

import typer

from calibration.errors import UsageError
from grader.cli.log import log_app
from grader.cli.log_options import (
    DatedOptions,
    DayOption,
    LogOption,
    LotArgument,
    NoteOption,
    WhoOption,
    day_of,
    existing_log,
    number_or_name,
    say_line,
)
from grader.cli.options import with_options
from grader.cli.questions import YesOption, ask_first
from grader.learn.questions import Asker
from grader.log import Log, MoneyKind, NewMoney, NewPurchase, checked
from grader.units import Money, parse_mass_g, parse_money, parse_weighed_mg

CorrectsOption = Annotated[
    int | None,
    typer.Option(
        help="Number of the wrong entry that this one takes the place of (see: grader log show).", show_default=False
    ),
]
ReasonOption = Annotated[str, typer.Option(help="With --corrects: what was wrong.")]


@dataclass(frozen=True)
class MoneyOptions:
    """Options of an entry that may take the place of another."""

    day: DayOption = None
    note: NoteOption = ""
    who: WhoOption = ""
    corrects: CorrectsOption = None
    reason: ReasonOption = ""
    yes: YesOption = False
    log: LogOption = None


@log_app.command()
@with_options(MoneyOptions)
def bought(
    lot: LotArgument,
    price: Annotated[str, typer.Option(help="Total paid to the seller: '120 USD'.", show_default=False)],
    mass: Annotated[str | None, typer.Option(help="Mass of the boards, stated or weighed: '1 lb 2 oz'.")] = None,
    count: Annotated[int | None, typer.Option(help="Number of boards.")] = None,
    *,
    options: MoneyOptions,
) -> None:
    """Log what was paid for a lot. A figure that looks wrong is questioned first.

    A wrong purchase is entered again with --corrects; it stays in the log and counts no more.

    Example: grader log bought "attic lot" --price "120 USD" --mass "1 lb 2 oz"
    """
    money = parse_money(price)
    entry = checked(
        NewPurchase,
        price=money.amount,
        currency=money.currency,
        mass_g=None if mass is None else parse_mass_g(mass),
        count=count,
        bought_on=day_of(options.day),
        note=options.note,
        who=options.who,
    )
    opened, number = _opened(lot, options)
    corrects = options.corrects
    asker = Asker(opened.contents(), date.today())
    ask_first(asker.of_purchase(entry, number, corrects=corrects), yes=options.yes)
    if corrects is None:
        kept = opened.add_purchase(number, entry)
        say_line(f"Purchase {kept.id} of {lot} for {money} logged.")
    else:
        kept = opened.correct_purchase(corrects, entry, options.reason, number)
        say_line(f"Purchase {kept.id} of {lot} for {money} takes the place of purchase {corrects}.")


@log_app.command()
@with_options(MoneyOptions)
def cost(
    lot: LotArgument,
    amount: Annotated[str, typer.Option(help="What it cost: '12 EUR'.", show_default=False)],
    what: Annotated[str, typer.Option(help="What it was for, such as 'freight'.", show_default=False)],
    *,
    options: MoneyOptions,
) -> None:
    """Log a cost of a lot besides its price, such as freight or chemicals.

    A wrong one is entered again with --corrects; one that never was is corrected to an amount of zero.

    Example: grader log cost "attic lot" --amount "12 EUR" --what freight
    """
    _keep(lot, _entry("cost", parse_money(amount), what, options), options)


@log_app.command()
@with_options(MoneyOptions)
def sold(
    lot: LotArgument,
    amount: Annotated[str, typer.Option(help="What it brought: '310 EUR'.", show_default=False)],
    what: Annotated[str, typer.Option(help="What was sold: 'gold', 'bodies' …", show_default=False)],
    *,
    options: MoneyOptions,
) -> None:
    """Log what a sale brought: of gold, of cut pieces, of what was left over.

    A wrong one is entered again with --corrects; one that never was is corrected to an amount of zero.

    Example: grader log sold "attic lot" --amount "310 EUR" --what gold
    """
    _keep(lot, _entry("sale", parse_money(amount), what, options), options)


@log_app.command()
@with_options(MoneyOptions)
def settled(
    lot: LotArgument,
    payable: Annotated[str, typer.Option(help="Payable for the gold before charges: '310 EUR'.", show_default=False)],
    charges: Annotated[str | None, typer.Option(help="What the refiner kept back: '24 EUR'. Default: none.")] = None,
    gold: Annotated[str | None, typer.Option(help="Gold delivered, as weighed: '4.2 g'.")] = None,
    refiner: Annotated[str, typer.Option(help="The refiner's name.")] = "",
    *,
    options: MoneyOptions,
) -> None:
    """Log a refiner's settlement: the gold delivered, what is payable for it, what the refiner kept back.

    A settlement for the gold of several lots is shared out by grader log pot. A wrong one is entered again with
    --corrects.

    Example: grader log settled "attic lot" --gold "4.2 g" --payable "310 EUR" --charges "24 EUR"
    """
    _keep(lot, settlement(payable, charges, gold, refiner, options), options)


def settlement(
    payable: str, charges: str | None, gold: str | None, refiner: str, options: MoneyOptions | DatedOptions
) -> NewMoney:
    """A settlement of the options as typed.

    Raises:
        UsageError: one of them cannot be read; ``currencies-differ``.
    """
    money = parse_money(payable)
    kept_back = Money(Decimal(0), money.currency) if charges is None else parse_money(charges)
    if kept_back.currency != money.currency:
        raise UsageError(
            "currencies-differ",
            f"The charges are in {kept_back.currency}, the payable amount in {money.currency}.",
            "Give both in the currency of the settlement; none is converted here.",
        )
    weighed = None if gold is None else parse_weighed_mg(gold)
    return _entry("settlement", money, refiner, options, kept_back.amount, weighed)


def _entry(
    kind: MoneyKind,
    money: Money,
    what: str,
    options: MoneyOptions | DatedOptions,
    charges: Decimal = Decimal(0),
    gold_mg: float | None = None,
) -> NewMoney:
    return checked(
        NewMoney,
        kind=kind,
        what=what,
        amount=money.amount,
        charges=charges,
        currency=money.currency,
        gold_mg=gold_mg,
        day=day_of(options.day),
        note=options.note,
        who=options.who,
    )


def _keep(lot: str, entry: NewMoney, options: MoneyOptions) -> None:
    opened, number = _opened(lot, options)
    ask_first(Asker(opened.contents(), date.today()).of_money(entry), yes=options.yes)
    name, money = entry.kind.capitalize(), Money(entry.amount, entry.currency)
    if options.corrects is None:
        kept = opened.add_money(number, entry)
        say_line(f"{name} {kept.id} of {lot}, {money}, logged.")
    else:
        kept = opened.correct_money(options.corrects, entry, options.reason, number)
        say_line(f"{name} {kept.id} of {lot}, {money}, takes the place of {entry.kind} {options.corrects}.")


def _opened(lot: str, options: MoneyOptions) -> tuple[Log, int]:
    """The log, and the number of a lot in it."""
    if options.reason and options.corrects is None:
        raise UsageError(
            "correction-of-what",
            "A reason was given, but not what is corrected.",
            "Add the number of the wrong entry: --corrects 3.",
        )
    opened = existing_log(options.log)
    return opened, opened.lot(number_or_name(lot)).id
