"""Questions about entries that look wrong, before they are logged."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, Notices

notice = Notices(
    NoticeDefinition(
        "yield-far-from-estimate",
        "{mass} of fine gold is {ratio} the estimate; from the photos, {low} to {high} was expected.{hint}",
        "Check the unit, the lot, and how many times its photographed boards went in.",
    ),
    NoticeDefinition("gold-odd", "{mass} of gold is more than a workshop sees at once.", "Check the unit."),
    NoticeDefinition(
        "gold-share-odd",
        "{mass} of gold is {percent:.1f} % of the boards' mass ({boards}); even cut-off contacts hold far less.",
        "Check the unit of the gold and of the boards, and the lot.",
    ),
    NoticeDefinition(
        "copies-odd",
        "By this entry, the photographed boards went in {value} times; {low} to {high} is usual.",
        "1 means all photographed boards once, 0.5 half of them.",
    ),
    NoticeDefinition(
        "uncertainty-odd",
        "A standard uncertainty of {uncertainty} is large for {mass}.",
        "Check its unit; it is the uncertainty of the balance.",
    ),
    NoticeDefinition(
        "carried-in-odd",
        "By this entry, {carried} of the gold came from elsewhere, but only {mass} was weighed.",
        "Check the two masses and their units.",
    ),
    NoticeDefinition("day-odd", "The day is {day}.", "Check the year; write it with four digits."),
    NoticeDefinition(
        "boards-mass-odd",
        "By this entry, the boards weigh {value}; {low} to {high} is usual.",
        "Check the unit.",
    ),
    NoticeDefinition(
        "board-mass-odd",
        "By mass and number one board weighs {value}; {low} to {high} is usual.",
        "Check the mass, its unit, and the number of boards.",
    ),
    NoticeDefinition("count-odd", "{count} boards would fill a truck.", "Check the number."),
    NoticeDefinition(
        "price-odd",
        "{price} is a very high price for a lot of boards.",
        "Check the price and the currency.",
    ),
    NoticeDefinition(
        "price-beyond-gold",
        "{price} is {ratio} the most that the lot's gold was expected to bring ({brings}).",
        "Check the price, its decimal point and the currency.",
    ),
    NoticeDefinition(
        "price-beyond-others",
        "{price} is {ratio} the dearest lot in the log ({dearest}).",
        "Check the price, its decimal point and the currency.",
    ),
    NoticeDefinition(
        "amount-odd",
        "{value} of {what} in one batch; {low} to {high} is usual.",
        "Check the amount and its unit.",
    ),
    NoticeDefinition(
        "money-odd",
        "{amount} is a very large amount for one lot.",
        "Check the amount and the currency.",
    ),
    NoticeDefinition(
        "charges-odd",
        "By this entry, the refiner kept back {charges} of {amount} payable.",
        "Check both; the amount is what is payable before the charges.",
    ),
)
