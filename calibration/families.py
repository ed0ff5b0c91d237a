"""Edge contacts with a published outline: families to which a row can be matched, and the pitch that follows.

A family is recognised only by numbers without a unit: the number of contacts in a row, the places of the keys that
divide them, and a contact's length relative to the pitch. Sizes in mm never enter, so that the pitch may then serve
as scale. The outlines are in ``calibration/data/contact_families.toml``, each with its source.
"""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from calibration.arrays import BoolArray, FloatArray
from calibration.errors import DataFileError, UsageError
from calibration.kinds import board_kind
from calibration.sourced import SourcedEntry, packaged, parse_entries

_FILE = "contact_families"
_KEYS = (
    "title", "kind", "pitch_mm", "groups", "key_step", "only_rules_out", "contact_width_mm", "contact_length_mm",
    "layout", "size",
)  # fmt: skip
# a contact matches a place in the row within this share of a pitch
_OFF = 0.3
# limits on a layout's missing contacts: share, least number, and number at either end of the row; with three at an
# end, drawn rows of other layouts (122 contacts divided at 68) were taken for one of these
_MISSING_SHARE, _MISSING_LEAST, _MISSING_END = 0.1, 1, 1
# if some are missing beside keys: most that may be missing in all, and least number of others present in each group
_MISSING_BESIDE, _GROUP_LEAST = 2, 3
# seen length relative to pitch, over the outline's: plating may end short of it, and a tilt shortens it further;
# makers draw contacts longer than necessary (5.4 mm for 4.3 in a photo of a known scale)
_SHORTER, _LONGER = 0.75, 1.4


@dataclass(frozen=True)
class ContactFamily:
    """One published outline.

    Attributes:
        key: its name in the data file.
        title: in plain words.
        kind: of boards that it suggests; empty if it suggests none.
        pitch_mm: centre to centre.
        layouts: contacts between the keys of one face, for each layout.
        key_step: centre to centre over a key, in pitches.
        only_rules_out: a row is never assigned to this family alone.
        contact_width_mm: of a contact.
        contact_length_mm: shortest and longest of a contact.
        layout_source: of pitch and layouts.
        layout_known: how pitch and layouts are known.
        size_source: of the contacts' size.
        size_known: how this size is known.
    """

    key: str
    title: str
    kind: str
    pitch_mm: float
    layouts: tuple[tuple[int, ...], ...]
    key_step: float
    only_rules_out: bool
    contact_width_mm: float
    contact_length_mm: tuple[float, float]
    layout_source: str
    layout_known: str
    size_source: str
    size_known: str

    def places(self, layout: tuple[int, ...]) -> FloatArray:
        """Places of a layout's contacts along the row in pitches, the first at 0, float64 (n,), read-only."""
        return _places(layout, self.key_step)


@cache
def _places(layout: tuple[int, ...], key_step: float) -> FloatArray:
    """Places as in ``ContactFamily.places``, cached: each row of a photo meets all layouts hundreds of times."""
    steps = np.ones(sum(layout) - 1)
    steps[np.cumsum(layout)[:-1] - 1] = key_step
    places = np.concatenate([[0.0], np.cumsum(steps)])
    places.setflags(write=False)
    return places


@dataclass(frozen=True, eq=False)
class FamilyMatch:
    """A row that fits a family.

    Attributes:
        family: that it fits.
        layout: of the family.
        places: of the contacts seen, along the family's row in pitches, float64 (n,).
        missing: contacts of the layout that were not seen.
    """

    family: ContactFamily
    layout: tuple[int, ...]
    places: FloatArray
    missing: int


@cache
def contact_families() -> tuple[ContactFamily, ...]:
    """All families of the data file, in its order.

    Raises:
        DataFileError: an entry is invalid.
    """
    return families_in(packaged(_FILE), _FILE)


def families_in(text: str, name: str) -> tuple[ContactFamily, ...]:
    """Read families from TOML text, in its order; ``name`` is used in error messages.

    Raises:
        DataFileError: the text is not TOML, or an entry is invalid.
    """
    return tuple(_family(key, entry) for key, entry in parse_entries(text, name).items())


def _family(key: str, entry: SourcedEntry) -> ContactFamily:
    entry.only(*_KEYS)
    layout_source, layout_known = entry.source("layout")
    size_source, size_known = entry.source("size")
    return ContactFamily(
        key=key,
        title=entry.text("title"),
        kind=board_kind(entry.text("kind")).key if "kind" in entry.table else "",
        pitch_mm=entry.number("pitch_mm"),
        layouts=_layouts(entry),
        key_step=entry.number("key_step"),
        only_rules_out=entry.is_set("only_rules_out"),
        contact_width_mm=entry.number("contact_width_mm"),
        contact_length_mm=entry.pair("contact_length_mm"),
        layout_source=layout_source,
        layout_known=layout_known,
        size_source=size_source,
        size_known=size_known,
    )


def _layouts(entry: SourcedEntry) -> tuple[tuple[int, ...], ...]:
    given = entry.table.get("groups")
    groups = given if isinstance(given, list) and all(isinstance(g, list) and g for g in given) else []
    if not groups or not all(type(n) is int and n > 0 for g in groups for n in g):
        raise DataFileError(
            "data-file-invalid",
            f"{entry.where}: groups is missing, or not lists of counts of contacts.",
            "Write the counts of each layout's groups, such as [[11, 7], [11, 21]].",
        )
    return tuple(tuple(group) for group in groups)


def family_named(name: str) -> ContactFamily:
    """The family of that title or key, in any case.

    Raises:
        UsageError: there is no such family.
    """
    wanted = name.strip().casefold()
    for family in contact_families():
        if wanted in (family.title.casefold(), family.key.casefold()):
            return family
    raise UsageError(
        "family-unknown",
        f"No outline of contacts is called '{name.strip()}'.",
        "Give the pitch itself ('1.27 mm'), or one of: " + "; ".join(f.title for f in contact_families()) + ".",
    )


def match_families(steps: FloatArray, length_in_pitches: float, *, longer: float = 1.0) -> tuple[FamilyMatch, ...]:
    """Families that a row of contacts fits, with the fewest missing contacts first.

    A row without a key fits no family: such rows are too common, and a wrong scale is worse than no scale.

    Args:
        steps: centre to centre of neighbouring contacts along the row, in pitches (n,).
        length_in_pitches: a contact's length relative to the pitch, typical of the row.
        longer: factor by which that length may appear too short.
    """
    found = []
    for family in contact_families():
        if not _may_be_as_long(family, length_in_pitches, longer):
            continue
        best: FamilyMatch | None = None
        for layout in family.layouts:
            if len(layout) < 2:
                continue
            for backwards in (False, True):
                match = _match(family, layout, steps[::-1] if backwards else steps)
                if match is not None and (best is None or match.missing < best.missing):
                    places = match.places[::-1] if backwards else match.places
                    best = FamilyMatch(family, layout, places, match.missing)
        if best is not None:
            found.append(best)
    if all(m.family.only_rules_out for m in found):
        return ()
    return tuple(sorted(found, key=lambda m: m.missing))


def one_pitch(matches: Sequence[FamilyMatch]) -> float | None:
    """The pitch in mm that all matches share; None if there is none, or they differ."""
    pitches = {m.family.pitch_mm for m in matches}
    return pitches.pop() if len(pitches) == 1 else None


def _may_be_as_long(family: ContactFamily, length_in_pitches: float, longer: float) -> bool:
    """Whether its contacts may appear this long relative to the pitch."""
    low, high = (mm / family.pitch_mm for mm in family.contact_length_mm)
    return low * _SHORTER <= length_in_pitches * longer and length_in_pitches <= high * _LONGER


def _match(family: ContactFamily, layout: tuple[int, ...], steps: FloatArray) -> FamilyMatch | None:
    """The contacts on the places of one layout, the first contact at its first, second, … place."""
    places = family.places(layout)
    missing = len(places) - len(steps) - 1
    if not 0 <= missing <= max(_allowed(layout), _MISSING_BESIDE):
        return None
    at = places.tolist()
    for first in range(min(missing, _MISSING_END) + 1):
        taken = [first]
        for step in steps.tolist():
            wanted = at[taken[-1]] + step
            after = bisect.bisect_left(at, wanted)
            nearest = min((i for i in (after - 1, after) if 0 <= i < len(at)), key=lambda i: abs(at[i] - wanted))
            if abs(at[nearest] - wanted) > _OFF or nearest <= taken[-1]:
                break
            taken.append(nearest)
        if len(taken) == len(steps) + 1:
            seen = np.isin(np.arange(len(places)), taken)
            if _few_missing(layout, seen) or _only_ends_missing(layout, seen):
                return FamilyMatch(family, layout, places[taken], missing)
    return None


def _allowed(layout: tuple[int, ...]) -> int:
    """Number of contacts that may be missing anywhere; 0 without keys, where only the count identifies a row."""
    return max(_MISSING_LEAST, int(_MISSING_SHARE * sum(layout))) if len(layout) > 1 else 0


def _few_missing(layout: tuple[int, ...], seen: BoolArray) -> bool:
    """Whether few contacts are missing, and none beside a key, so that the key's place is not a guess."""
    there, after = np.flatnonzero(seen), np.cumsum(layout)[:-1]
    at_ends = max(int(there[0]), len(seen) - 1 - int(there[-1]))
    few = len(seen) - len(there) <= _allowed(layout) and at_ends <= _MISSING_END
    return bool(few and seen[after].all() and seen[after - 1].all())


def _only_ends_missing(layout: tuple[int, ...], seen: BoolArray) -> bool:
    """Whether only contacts at the very ends of groups are missing: they look least like the others.

    All others of each group must be there, and there must be several: a few could be anything.
    """
    if len(layout) < 2 or np.count_nonzero(~seen) > _MISSING_BESIDE:
        return False
    groups = np.split(seen, np.cumsum(layout)[:-1])
    return all(bool(group[1:-1].all()) and len(group) - 2 >= _GROUP_LEAST for group in groups)
