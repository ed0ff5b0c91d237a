"""Warnings that the reading of a listing gives."""

from __future__ import annotations

from calibration.notices import NoticeDefinition, Notices

notice = Notices(
    NoticeDefinition(
        "listing-photo-left-out",
        "{photo} was left out: {why}",
        "Give a photo of the boards in its place, or go on without it.",
    ),
    NoticeDefinition(
        "listing-copy",
        "{photo} is the same file as {other}; it was used once.",
        "Nothing needs to be done.",
    ),
    NoticeDefinition(
        "listing-scale-borrowed",
        "{photos}: no scale of their own; the size of boards that other photos show too gave it.",
        "Lay the printed target or a thing of known size into every photo.",
    ),
    NoticeDefinition(
        "listing-without-scale",
        "{photos}: no scale, and no board that a photo with a scale shows whole; the plating there is not counted.",
        "Give one photo that shows all boards together with something of known size.",
    ),
    NoticeDefinition(
        "listing-part-seen",
        "{boards} of the boards are in no photo as a whole; what the frame or other boards hide is not counted.",
        "Ask for a photo that shows them whole.",
    ),
    NoticeDefinition(
        "listing-matches-unsure",
        "Which photos show the same boards is not sure: {boards}.",
        "Look at the sheet, and say which boards are the same.",
    ),
    NoticeDefinition(
        "listing-heap",
        "{photo}: boards overlap or are cut off; there may be {low} to {high} of about {whole:.0f} cm² each.",
        "Ask for the mass of the lot, or for a photo with the boards side by side.",
    ),
    NoticeDefinition(
        "listing-no-backs",
        "No photo shows the backs of {boards} boards.",
        "Ask for photos of the backs.",
    ),
    NoticeDefinition(
        "listing-mass-unlike",
        "No number of boards that the photos allow weighs {mass}.",
        "Check the unit of the mass, and whether the photos show the whole lot.",
    ),
    NoticeDefinition(
        "listing-word-unused",
        "What was said of {what} does not fit these photos and was not used.",
        "Say it again on the present sheet.",
    ),
)
