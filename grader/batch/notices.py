"""What a batch plan warns of, and what every plan says."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, Notices

notice = Notices(
    NoticeDefinition(
        "reagent-below-floor",
        "{reagent}: in {chance} of all cases the planned amount is less than the reaction needs ({planned} against "
        "{floor}).",
        "Raise the figure in the process set: no reaction can do with less than its minimum, and "
        "real ones need more.",
    ),
    NoticeDefinition(
        "peroxide-strong",
        "The peroxide has up to {strength} mol/l; these proportions are meant for 3 % (0.89 mol/l).",
        "Use 3 % peroxide: stronger peroxide heats up, foams over and produces chlorine with the acid.",
    ),
    NoticeDefinition(
        "vessel-brim",
        "Liquor and pieces together can reach {share} of the vessel's nominal volume.",
        "Choose a larger vessel or a smaller fill: it foams.",
    ),
    NoticeDefinition(
        "rinse-not-clean",
        "The later rinses can hold {copper} mg/l of copper at pH {ph}; clean water has at most "
        "{copper_limit} mg/l and more than pH {ph_limit} (one state's rules).",
        "Keep it with the metal-bearing liquor, or plan more rinses and have the last ones tested.",
    ),
    NoticeDefinition(
        "example-process",
        "{count} of the process figures are shipped examples, not yours.",
        "Give your own figures for the process.",
    ),
    NoticeDefinition(
        "disposal-price-unknown",
        "The cost of disposing of metal-bearing liquor is not known, and is not included.",
        "Add a cost named disposal, per litre, to your assumptions.",
    ),
    NoticeDefinition(
        "one-face-only",
        "Only the faces in the photos are counted; acid reaches both.",
        "Photograph both faces, or say that the other face is alike.",
    ),
)

NOT_IN_IT = (
    "Copper under solder mask, solder, tin, steel and mounted parts use up acid too and are not in these figures. "
    "They can make up much of a board: plan for more if your boards have them."
)
FLOORS = (
    "A floor is what the balanced reaction uses up when nothing is wasted. It is not an amount to "
    "work with: real batches need more."
)
