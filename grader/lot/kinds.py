"""The kind of boards of a part: proposed by recognised connectors, and the value of naming it."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.families import contact_families
from calibration.finishes import HARD_GOLD
from calibration.inputs import Input
from calibration.kinds import KINDS_OF_BOARDS, UNKNOWN, KindKey, board_kind
from calibration.thickness import THICKNESS, contact_plating
from grader.choices import Choice
from grader.lot.model import Part
from grader.measured import Measured
from grader.model import ProductModel

_OR = " or "  # between the titles of outlines that a row fits


def proposed_kind(photos: Sequence[Measured]) -> KindKey | None:
    """The kind suggested by recognised connectors; None if they disagree or suggest none."""
    kind_of = {f.title: f.kind for f in contact_families() if f.kind}
    rows = [r for m in photos for r in (*(r for b in m.boards for r in b.contacts), *m.loose_contacts)]
    titles = {title for row in rows if row.outline for title in row.outline.split(_OR)}
    found = {kind_of[title] for title in titles if title in kind_of}
    return found.pop() if len(found) == 1 else None


def unnamed(part: Part, gold_mg: ProductModel) -> tuple[Input, ...]:
    """Thicknesses of contacts on boards of an unknown kind."""
    if part.kind not in (None, UNKNOWN) or part.evidence or part.designs != "one":
        return ()
    of_any = contact_plating()[0].distribution
    held = (i for i in gold_mg.inputs.values() if i.kind == THICKNESS and i.of[:1] == (HARD_GOLD,))
    return tuple(i for i in held if i.distribution == of_any)


def choices(part: Part, gold_mg: ProductModel) -> tuple[Choice, ...]:
    """The possible kinds of a part, and what each would mean."""
    named = [board_kind(key) for key in KINDS_OF_BOARDS if key != UNKNOWN]
    answers = tuple((kind.weight, kind.plating("one").thickness) for kind in named)
    words = ", ".join(kind.words for kind in named)
    return tuple(
        Choice(f"Find out what kind of boards these are: {part.name} ({words}).", i.name, i.distribution, answers)
        for i in unnamed(part, gold_mg)
    )
