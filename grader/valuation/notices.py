"""What a valuation warns of, and what every valuation says."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, register

register(
    NoticeDefinition(
        "spot-stale",
        "Gold price old",
        "The gold price is of {date}, {days} days before this valuation.",
        "Look up today's price and give it with its date.",
    ),
    NoticeDefinition(
        "example-assumptions",
        "Example figures used",
        "Of the figures that were assumed, {count} are shipped examples, not yours; they are marked.",
        "Give your own figures, or copy the example file and change it.",
    ),
    NoticeDefinition(
        "even-a-gift-loses",
        "Even a gift loses",
        "Even for nothing this lot would lose money in {chance} of all cases; you accept {accepted}.",
        "Leave it, get the costs down by working on more boards at once, or narrow the range (more photos, a weighed "
        "yield).",
    ),
    NoticeDefinition(
        "even-a-gift-loses-every-way",
        "Even a gift loses",
        "Even for nothing, every way to deal with this lot would lose money more often than the {accepted} that you "
        "accept; the best ({way}) in {chance} of all cases.",
        "Leave it, get the costs down by working on more boards at once, or narrow the range (more photos, a weighed "
        "yield).",
    ),
    NoticeDefinition(
        "price-above-break-even",
        "On average a loss",
        "At the highest price for a chance of a loss of {accepted} you would lose money on average.",
        "Pay no more than the break-even price.",
    ),
    NoticeDefinition(
        "mass-unknown",
        "Mass not known",
        "What the boards weigh is not known, so selling them by weight cannot be compared.",
        "Weigh the boards in the photos, or give the lot's stated mass.",
    ),
    NoticeDefinition(
        "no-gold-seen",
        "No gold seen",
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
