"""What an estimate of a lot warns of."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, register

register(
    NoticeDefinition(
        "boards-not-photographed",
        "Boards not photographed",
        "Of {part}, {seen} of about {total} boards were photographed; the others are assumed to be like them.",
        "Photograph more of them, picked blindly: a seller shows the best.",
    ),
    NoticeDefinition(
        "other-face-assumed",
        "Other face not seen",
        "The other face of {part} was not photographed; it is assumed alike, with a range.",
        "Photograph the other face of at least one board.",
    ),
    NoticeDefinition(
        "board-mass-assumed",
        "Mass of a board assumed",
        "What one board of {part} weighs was taken from its outline and a common mass by area.",
        "Weigh the boards in the photo and give their mass.",
    ),
    NoticeDefinition(
        "boards-by-outlines",
        "Boards counted by their outlines",
        "{photo} shows {boards}, as far as outlines tell; gold per board carries that doubt.",
        "Count the boards in the photo and give their number (--boards on the command line).",
    ),
    NoticeDefinition(
        "touching-boards",
        "Outlines and boards differ",
        "{photo}: boards said to be in it: {boards}; outlines found: {outlines}. Boards may touch or overlap.",
        "Check the number of boards, or lay them apart and take the photo again.",
    ),
)
