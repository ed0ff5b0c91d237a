"""Measurements as ``grader measure --json`` writes them, read back for valuation."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from calibration.errors import UsageError
from calibration.reading import json_of, read_text
from grader.measured.contradictions import check_shown
from grader.measured.record import FILE, FIX, Measured


def read_measurements(paths: Sequence[Path]) -> list[Measured]:
    """Read measurements from files, each holding one JSON object, a JSON array or JSON Lines.

    Raises:
        UsageError: as ``measurements_of``.
        DataFileError: a file cannot be read or holds no measurement.
    """
    return measurements_of((path.name, document) for path in paths for document in documents_in(path))


def measurements_of(documents: Iterable[tuple[str, Mapping[str, Any]]]) -> list[Measured]:
    """Read measurements from parsed documents.

    Args:
        documents: the source of each (for messages), and the object.

    Raises:
        UsageError: ``measurement-refused`` or ``measurement-without-scale`` for a photo that gave no gold;
            ``photo-twice`` for the same photo given twice; ``measurements-none`` for an empty list.
        DataFileError: ``measurement-invalid``; ``measurement-absurd`` or ``measurement-contradicts`` for one that was
            damaged or edited.
    """
    return usable((source, Measured.from_dict(document, source)) for source, document in documents)


def usable(measurements: Iterable[tuple[str, Measured]]) -> list[Measured]:
    """Check that measurements can be valued together.

    Args:
        measurements: the source of each (for messages), and the record.

    Raises:
        UsageError, DataFileError: as ``measurements_of``.
    """
    found: list[Measured] = []
    seen: dict[str, str] = {}
    for source, measured in measurements:
        why_not = measured.without_gold(source)
        if why_not is not None:
            raise why_not
        where = f"{source}, photo {measured.photo}"
        if not measured.sha256:
            raise FILE.invalid(where, "without the photo's sha256")
        if measured.model is None:
            raise FILE.invalid(where, "without the model that a valuation needs")
        check_shown(where, measured)
        if measured.sha256 in seen:
            raise UsageError(
                "photo-twice",
                f"{source}: the photo {measured.photo} was already given ({seen[measured.sha256]}).",
                "Give each photo once. For boards without a photo, give the number of boards in the lot.",
                remedy="photo-once",
            )
        seen[measured.sha256] = f"{measured.photo} in {source}"
        found.append(measured)
    if not found:
        raise UsageError("measurements-none", "There is no measurement to value.", FIX)
    return found


def documents_in(path: Path) -> list[Mapping[str, Any]]:
    """The JSON objects of a file: one object, an array of them, or JSON Lines. Their meaning is not checked.

    Raises:
        DataFileError: the file cannot be read or holds no such objects.
    """
    text = read_text(path, FILE)
    try:
        try:
            whole = json_of(text)
            found = whole if isinstance(whole, list) else [whole]
        except json.JSONDecodeError:
            found = [json_of(line) for line in text.splitlines() if line.strip()]
    except ValueError as error:  # not JSON, or a number that is none
        raise FILE.invalid(path.name, "no JSON") from error
    if not found or not all(isinstance(d, dict) for d in found):
        raise FILE.invalid(path.name, "no measurement")
    return found
