"""A measurement with corrections by hand: area and gold again, without a new search for scale or plating."""

from __future__ import annotations

from dataclasses import replace

from calibration.errors import UsageError
from grader.correct.apply import apply_corrections
from grader.corrections import Corrections
from grader.pipeline import Measurement, with_gold
from grader.regions import read_contact_rows


def correct(measured: Measurement, corrections: Corrections) -> Measurement:
    """A measurement with corrections, its gold calculated as in the request that was measured.

    Args:
        measured: with or without corrections, which are replaced.
        corrections: all of them, in order; none gives back what was found.

    Raises:
        UsageError: the corrections belong to another photo.
    """
    found = measured.found if measured.found is not None else measured
    photo, scale = found.photo, found.scale
    if not corrections:
        return found
    if corrections.photo_sha256 not in ("", photo.sha256):
        raise UsageError(
            "corrections-other-photo",
            f"These are corrections of another photo, not of {photo.name}.",
            "Use the corrections that were saved for this file.",
        )
    coverage, regions = apply_corrections(found.coverage, found.regions, corrections, scale, photo.short_id)
    elsewhere = [n for n in found.notices if n not in found.coverage.notices]
    corrected = replace(
        found,
        coverage=coverage,
        regions=regions,
        readings=read_contact_rows(regions, coverage, photo.rgb),
        notices=(*elsewhere, *coverage.notices),
        corrections=corrections,
        found=found,
    )
    return with_gold(corrected)
