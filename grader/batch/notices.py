"""What a batch plan warns of, and what every plan says."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, register

register(
    NoticeDefinition(
        "reagent-below-floor",
        "Less than the reaction needs",
        "{reagent}: in {chance} of all cases the planned amount is less than the reaction needs ({planned} against "
        "{floor}).",
        "Raise the figure in the process set: no reaction does with less than its floor, and real ones want more.",
    ),
    NoticeDefinition(
        "peroxide-strong",
        "Stronger than 3 % peroxide",
        "The peroxide has up to {strength} mol/l; these proportions are spoken of for 3 % (0.89 mol/l).",
        "Use 3 % peroxide: stronger heats up, foams over and makes chlorine with the acid.",
    ),
    NoticeDefinition(
        "vessel-brim",
        "Vessel nearly overflows",
        "Liquor and pieces together can reach {share} of the vessel's nominal volume.",
        "Choose a larger vessel or a smaller fill: it foams.",
    ),
    NoticeDefinition(
        "rinse-not-clean",
        "Rinse water not clean",
        "The later rinses can hold {copper} mg/l of copper at pH {ph}; marks for clean are {copper_limit} mg/l and "
        "more than pH {ph_limit} (one state's rules).",
        "Keep it with the metal-bearing liquor, or plan more rinses and have the last ones tested.",
    ),
    NoticeDefinition(
        "example-process",
        "Example figures used",
        "Of the figures of the process, {count} are shipped examples, not yours.",
        "Write your own: grader batch --example > my-process.toml, then --set my-process.toml.",
    ),
    NoticeDefinition(
        "disposal-price-unknown",
        "Disposal not priced",
        "What the disposal of metal-bearing liquor costs is not known; the costs are without it.",
        "Give a cost named disposal, per litre, in the set of assumptions.",
    ),
    NoticeDefinition(
        "one-face-only",
        "One face counted",
        "Only the faces in the photos are counted; acid reaches both.",
        "Photograph both faces, or say that the other is alike (--other-face alike).",
    ),
)

NOT_IN_IT = (
    "Copper under solder mask, solder, tin, steel and mounted parts use up acid too and are not in these figures. "
    "They can be much of a board: plan for more where they are there."
)
FLOORS = (
    "A floor is what the balanced reaction uses up when nothing is wasted. It is no amount to work with: real "
    "batches want more."
)
