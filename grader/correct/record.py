"""Corrections as a part of a measurement's record: the list, and what it changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from grader.corrections import Corrections
from grader.model import ProductModel, Range
from grader.pipeline import Measurement


def corrections_record(done: Measurement) -> dict[str, Any] | None:
    """What a document says of corrections; None where nothing was corrected.

    Beside the list itself, which ``parse_corrections`` reads back: plated area and gold as found, and by how much
    they changed, drawn together, so that an error which both have in common does not widen the change.
    """
    if done.found is None:
        return None
    found = done.found
    record = {
        **done.corrections.as_json(),
        "plated_share_of_frame_found": float(found.coverage.share.mean() / 255),
        "plated_area_mm2": None,
        "gold_mg": None,
    }
    if done.area is not None and found.area is not None:
        record["plated_area_mm2"] = _change(found.area.total, done.area.total)
    if done.gold is not None and found.gold is not None:
        record["gold_mg"] = _change(found.gold.total, done.gold.total)
    return record


def corrections_in(document: Mapping[str, Any]) -> Corrections:
    """The corrections that a measurement's document carries; none where it carries none.

    Raises:
        DataFileError: they cannot be read.
    """
    kept = document.get("corrections")
    return Corrections() if kept is None else Corrections.from_json(kept)


def _change(before: ProductModel, after: ProductModel) -> dict[str, Any]:
    before_draws, after_draws = (model.draws() for model in (before, after))
    return {"found": Range.of(before_draws).as_json(), "change": Range.of(after_draws - before_draws).as_json()}
