"""What is asked about entries that look wrong, before they are kept in the log."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, register

register(
    NoticeDefinition(
        "yield-far-from-estimate",
        "Yield far from the estimate",
        "{mass} of fine gold is {ratio} the estimate: the photos let expect {low} to {high}.{hint}",
        "Check the unit, the lot, and how many times its photographed boards went in.",
    ),
    NoticeDefinition(
        "gold-odd", "Very much gold", "{mass} of gold is more than a workshop sees at once.", "Check the unit."
    ),
    NoticeDefinition(
        "gold-share-odd",
        "Very rich boards",
        "{mass} of gold is {percent:.1f} % of the boards' mass ({boards}); even cut-off contacts hold far less.",
        "Check the unit of the gold and of the boards, and the lot.",
    ),
    NoticeDefinition(
        "copies-odd",
        "Odd number of times",
        "The photographed boards are said to have gone in {value} times; {low} to {high} is usual.",
        "1 means all photographed boards once, 0.5 half of them.",
    ),
    NoticeDefinition(
        "uncertainty-odd",
        "Very uncertain mass",
        "A standard uncertainty of {uncertainty} says little of {mass}.",
        "Check its unit; it is that of the balance, in the unit that you give.",
    ),
    NoticeDefinition(
        "carried-in-odd",
        "More came in than came out",
        "{carried} of the gold is said to come from elsewhere, but only {mass} was weighed.",
        "Check the two masses and their units.",
    ),
    NoticeDefinition("day-odd", "Odd day", "The day is {day}.", "Check the year; write it with four digits."),
    NoticeDefinition(
        "boards-mass-odd",
        "Odd mass of boards",
        "The boards are said to weigh {value}; {low} to {high} is usual.",
        "Check the unit.",
    ),
    NoticeDefinition(
        "board-mass-odd",
        "Odd mass of a board",
        "By mass and number one board weighs {value}; {low} to {high} is usual.",
        "Check the mass, its unit, and the number of boards.",
    ),
    NoticeDefinition("count-odd", "Very many boards", "{count} boards are a truck full.", "Check the number."),
    NoticeDefinition(
        "price-odd",
        "Very high price",
        "{price} is very much for a lot of boards.",
        "Check the price and the currency.",
    ),
    NoticeDefinition(
        "price-beyond-gold",
        "Price far above the gold",
        "{price} is {ratio} what the lot's gold was valued to bring at best ({brings}).",
        "Check the price, its decimal point and the currency.",
    ),
    NoticeDefinition(
        "price-beyond-others",
        "Price far above all others",
        "{price} is {ratio} the dearest lot in the log ({dearest}).",
        "Check the price, its decimal point and the currency.",
    ),
    NoticeDefinition(
        "amount-odd",
        "Odd amount",
        "{value} of {what} in one batch; {low} to {high} is usual.",
        "Check the amount and its unit.",
    ),
)
