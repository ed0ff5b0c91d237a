"""Warnings of a valuation, and statements in every valuation."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, Notices

notice = Notices(
    NoticeDefinition(
        "spot-stale",
        "The gold price is from {date}, {days} days before this valuation.",
        "Look up today's price and give it with its date.",
    ),
    NoticeDefinition(
        "example-assumptions",
        "{count} of the assumed figures are shipped examples, not yours; they are marked.",
        "Give your own figures, or copy the example file and change it.",
    ),
    NoticeDefinition(
        "examples-carried-over",
        "Example figures in {of} were carried over at the rate that you gave: {rate}.",
        "Prices differ between countries by more than the rate: give your own figures where you know them.",
    ),
    NoticeDefinition(
        "even-a-gift-loses",
        "Even for nothing this lot would lose money in {chance} of all cases; you accept {accepted}.",
        "Leave it, lower the costs by processing more boards at once, or narrow the range (more "
        "photos, a weighed yield).",
    ),
    NoticeDefinition(
        "even-a-gift-loses-every-way",
        "Even for nothing, every way to deal with this lot would lose money more often than the {accepted} that you "
        "accept; the best ({way}) in {chance} of all cases.",
        "Leave it, lower the costs by processing more boards at once, or narrow the range (more "
        "photos, a weighed yield).",
    ),
    NoticeDefinition(
        "gifts-lose-more",
        "Even for nothing, lots like this one would lose more than {share} of what they bring where they win, "
        "whatever is done with them (the best: {way}).",
        "Leave it, lower the costs by processing more boards at once, or narrow the range (more "
        "photos, a weighed yield).",
    ),
    NoticeDefinition(
        "price-above-break-even",
        "At the highest price for a chance of a loss of {accepted} you would lose money on average.",
        "Pay no more than the break-even price.",
    ),
    NoticeDefinition(
        "accepted-over-many-lots",
        "Over this month's {count} bids {accepted} may lose on average, {allowed} of one bid in all; the earlier "
        "ones carry {carried} of it, so this lot may carry {here}.",
        "Count every bid that was won, with the chance of a loss that it was made at.",
    ),
    NoticeDefinition(
        "mass-unknown",
        "The weight of the boards is not known, so selling them by weight cannot be compared.",
        "Weigh the boards in the photos, or give the lot's stated mass.",
    ),
    NoticeDefinition(
        "cost-not-counted",
        "A part of these costs is per something that is not known of this lot, and is left out: {costs}.",
        "Give the mass and the number of the boards, or the cost once for all of them.",
    ),
    NoticeDefinition(
        "no-gold-seen",
        "The photos show no gold plating that was counted.",
        "Check the overlay; photograph the side with the contacts.",
    ),
)

VISIBLE_PLATING_ONLY = (
    "Visible plating only: gold inside packages, under solder or on faces not photographed is not in these figures."
)
CAUTION = (
    "Winning gold from boards takes strong acids, gives off toxic gases and leaves hazardous waste. Follow safety "
    "data sheets and local rules, and leave it to licensed practice; what that costs belongs in the price."
)
STATEMENTS = (VISIBLE_PLATING_ONLY, CAUTION)
