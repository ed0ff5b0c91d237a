"""Warnings about the estimate of a lot."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, Notices

notice = Notices(
    NoticeDefinition(
        "boards-not-photographed",
        "Of {part}, {seen} of about {total} boards were photographed; the others are assumed to be like them.",
        "Photograph more of them, picked blindly: a seller shows the best.",
    ),
    NoticeDefinition(
        "other-face-assumed",
        "The other face of {part} was not photographed; it is assumed to be alike, with a range.",
        "Photograph the other face of at least one board.",
    ),
    NoticeDefinition(
        "board-mass-assumed",
        "The weight of one board of {part} was estimated from its outline and a typical mass per area.",
        "Weigh the boards in the photo and give their mass.",
    ),
    NoticeDefinition(
        "boards-by-outlines",
        "By its outlines, {photo} shows {boards}; gold per board is as uncertain as that number.",
        "Count the boards in the photo and give their number.",
    ),
    NoticeDefinition(
        "kind-proposed",
        "The contacts of {part} look like those of {kind}; nobody said so, so that the range is that of any kind.",
        "Confirm that kind, name another, or say that you do not know.",
    ),
    NoticeDefinition(
        "touching-boards",
        "{photo}: number of boards given: {boards}; outlines found: {outlines}. Boards may touch or overlap.",
        "Check the number of boards, or lay them apart and take the photo again.",
    ),
)
