"""Families told by numbers without a unit: count, keys and slenderness, never size."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import DataFileError, UsageError
from calibration.families import ContactFamily, contact_families, families_in, family_named, match_families, one_pitch
from calibration.sourced import HOW_KNOWN

KEYED = [(f, layout) for f in contact_families() for layout in f.layouts if len(layout) > 1 and not f.only_rules_out]
NAMES = [f"{f.key}-{'-'.join(map(str, layout))}" for f, layout in KEYED]


def slenderness(family: ContactFamily) -> float:
    return float(np.mean(family.contact_length_mm)) / family.pitch_mm


def test_every_entry_says_where_it_comes_from() -> None:
    for f in contact_families():
        assert f.layout_source, f.key
        assert f.size_source, f.key
        assert {f.layout_known, f.size_known} <= set(HOW_KNOWN), f.key
        assert 0 < f.contact_width_mm < f.pitch_mm
        low, high = f.contact_length_mm
        assert 0 < low <= high


ENTRY = """
[an_edge]
title = "An edge"
pitch_mm = 1.27
groups = [[11, 7], [11, 21]]
key_step = 3.0
contact_width_mm = 0.7
contact_length_mm = [3.2, 4.3]
layout = { source = "a footprint", how_known = "read" }
size = { source = "the same", how_known = "from memory" }
"""


def test_an_entry_is_read_whole() -> None:
    (family,) = families_in(ENTRY, "test")
    assert (family.key, family.pitch_mm, family.layouts) == ("an_edge", 1.27, ((11, 7), (11, 21)))
    assert (family.layout_known, family.size_known) == ("read", "from memory")
    assert not family.only_rules_out


@pytest.mark.parametrize(
    "key",
    ["title", "pitch_mm", "groups", "key_step", "contact_width_mm", "contact_length_mm", "layout", "size"],
)
def test_a_key_left_out_of_an_entry_is_named(key: str) -> None:
    text = "\n".join(line for line in ENTRY.splitlines() if not line.startswith(f"{key} ="))
    with pytest.raises(DataFileError, match=f"test: an_edge: {key} is missing"):
        families_in(text, "test")


@pytest.mark.parametrize(
    ("was", "put"),
    [
        ("pitch_mm = 1.27", "pitch_mm = 'wide'"),
        ("[[11, 7], [11, 21]]", "[[11, 7.5]]"),
        ("[[11, 7], [11, 21]]", "[]"),
        ("[3.2, 4.3]", "[4.3, 3.2]"),
        ("[3.2, 4.3]", "[3.2]"),
        ("[3.2, 4.3]", "[3.2, nan]"),
        ("key_step = 3.0", "key_step = 3.0\nonly_rules_out = 1"),
        ("key_step = 3.0", "key_step = 3.0\nkeys = 1"),
        ('how_known = "read"', 'how_known = "heard"'),
        ('source = "the same", ', ""),
    ],
)
def test_an_entry_that_cannot_be_is_refused(was: str, put: str) -> None:
    assert was in ENTRY
    with pytest.raises(DataFileError, match="test: an_edge"):
        families_in(ENTRY.replace(was, put), "test")


@pytest.mark.parametrize(("family", "layout"), KEYED, ids=NAMES)
@pytest.mark.parametrize("backwards", [False, True])
def test_a_whole_row_fits_its_own_family_and_no_other_pitch(
    family: ContactFamily, layout: tuple[int, ...], backwards: bool
) -> None:
    steps = np.diff(family.places(layout))
    matches = match_families(steps[::-1] if backwards else steps, slenderness(family))
    assert family.key in [m.family.key for m in matches]
    assert matches[0].missing == 0
    assert one_pitch(matches) == family.pitch_mm


@pytest.mark.parametrize(("family", "layout"), KEYED, ids=NAMES)
def test_places_of_a_match_are_those_of_the_contacts_seen(family: ContactFamily, layout: tuple[int, ...]) -> None:
    steps = np.diff(family.places(layout))[::-1]
    [match] = [m for m in match_families(steps, slenderness(family)) if m.family == family]
    np.testing.assert_allclose(np.abs(np.diff(match.places)), steps)


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_few_missing_contacts_and_jitter_do_not_hide_a_family(data: st.DataObject) -> None:
    family, layout = data.draw(st.sampled_from([(f, g) for f, g in KEYED if sum(g) >= 49]))
    places = family.places(layout)
    after = np.cumsum(layout)[:-1]
    inner = [i for i in range(len(places)) if i not in after and i + 1 not in after and 0 < i < len(places) - 1]
    gone = data.draw(st.sets(st.sampled_from(inner), max_size=3))
    kept = np.delete(places, sorted(gone))
    rng = np.random.default_rng(data.draw(st.integers(0, 999)))
    steps = np.diff(kept + np.clip(rng.normal(0, 0.04, len(kept)), -0.1, 0.1))
    matches = match_families(steps, slenderness(family))
    assert family in [m.family for m in matches]
    [match] = [m for m in matches if m.family == family]
    assert match.missing == len(gone)
    assert one_pitch(matches) == family.pitch_mm


def test_a_row_without_a_key_tells_nothing() -> None:
    # 30 and 31 contacts in an even row: modules and expansion cards have them, and so has any strip connector
    assert match_families(np.ones(29), 3.0) == ()
    assert match_families(np.ones(30), 3.0) == ()


def test_the_same_contacts_with_another_key_are_another_family() -> None:
    ddr2 = match_families(np.r_[np.ones(63), 5.0, np.ones(55)], 2.5)
    ddr3 = match_families(np.r_[np.ones(47), 5.0, np.ones(71)], 2.5)
    assert [m.family.key for m in ddr2] == ["dimm_240_ddr2"]
    assert [m.family.key for m in ddr3] == ["dimm_240_ddr3"]


def test_slenderness_parts_rows_of_one_pattern() -> None:
    steps = np.r_[np.ones(10), 3.0, np.ones(6)]
    assert [m.family.key for m in match_families(steps, 4.3)] == ["pci_express"]
    assert match_families(steps, 2.0) == ()
    assert match_families(steps, 7.0) == ()


def test_too_many_missing_is_no_match() -> None:
    places = np.r_[np.arange(11), 13 + np.arange(71)] * 1.0
    assert match_families(np.diff(np.delete(places, np.arange(20, 29))), 4.3) == ()
    # one beside the key and others elsewhere: the key's place is a guess
    assert match_families(np.diff(np.delete(places, [10, 30, 31])), 4.3) == ()


@pytest.mark.parametrize(("family", "layout"), KEYED, ids=NAMES)
def test_contacts_missing_at_the_ends_of_groups_never_make_it_another_pitch(
    family: ContactFamily, layout: tuple[int, ...]
) -> None:
    beyond = np.cumsum(layout)
    ends = sorted({*(beyond - 1).tolist(), *(beyond - layout).tolist()})
    low, high = (mm / family.pitch_mm for mm in family.contact_length_mm)
    for gone in (g for n in range(4) for g in itertools.combinations(ends, n)):
        steps = np.diff(np.delete(family.places(layout), gone))
        for length in (0.8 * low, low, high, 1.3 * high):
            matches = match_families(steps, length)
            assert one_pitch(matches) in (None, family.pitch_mm)
            if not gone:
                assert family in [m.family for m in matches]


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_row_read_from_its_other_end_is_the_same(data: st.DataObject) -> None:
    family, layout = data.draw(st.sampled_from(KEYED))
    gone = data.draw(st.sets(st.integers(0, sum(layout) - 1), max_size=3))
    steps = np.diff(np.delete(family.places(layout), sorted(gone)))
    there, back = (match_families(s, slenderness(family)) for s in (steps, steps[::-1]))
    assert {(m.family.key, m.missing) for m in there} == {(m.family.key, m.missing) for m in back}


EVEN = [(f, layout[0]) for f in contact_families() for layout in f.layouts if len(layout) == 1]


@pytest.mark.parametrize(("family", "count"), EVEN, ids=[f"{f.key}-{n}" for f, n in EVEN])
def test_a_row_without_a_key_is_never_named(family: ContactFamily, count: int) -> None:
    low, high = (mm / family.pitch_mm for mm in family.contact_length_mm)
    for length in np.linspace(low, high, 7):
        assert match_families(np.ones(count - 1), float(length)) == ()


def test_what_only_rules_out_is_never_said_alone() -> None:
    assert match_families(np.r_[np.ones(19), 2.0, np.ones(10)], slenderness(family_named("agp"))) == ()


def test_families_of_different_pitch_that_share_a_row_give_no_pitch() -> None:
    [x1] = match_families(np.r_[np.ones(10), 3.0, np.ones(6)], 4.3)
    [ddr3] = match_families(np.r_[np.ones(47), 5.0, np.ones(71)], 2.5)
    [ddr4] = match_families(np.r_[np.ones(76), 7.0, np.ones(66)], 3.0)
    assert one_pitch([x1, ddr3]) == 1.0
    assert one_pitch([ddr3, ddr4]) is None
    assert one_pitch([]) is None


@given(counts=st.lists(st.integers(3, 90), min_size=2, max_size=3), key=st.floats(2, 8), length=st.floats(1.5, 6))
@settings(max_examples=300, deadline=None)
def test_any_row_that_is_recognised_has_the_family_s_key_and_count(
    counts: list[int], key: float, length: float
) -> None:
    steps = np.ones(sum(counts) - 1)
    steps[np.cumsum(counts)[:-1] - 1] = key
    for match in match_families(steps, length):
        assert match.missing + sum(counts) == sum(match.layout)
        gaps = np.diff(match.places)
        widest = float(np.max(gaps[gaps < 9])) if match.missing == 0 else key
        # a contact missing on either side of a key widens the step over it by one
        assert any(abs(key - match.family.key_step - lost) <= 0.3 for lost in range(3))
        assert abs(widest - key) <= 0.3


def test_named() -> None:
    assert family_named(" pci express ").pitch_mm == 1.0
    assert family_named("dimm_288_ddr4").pitch_mm == 0.85
    with pytest.raises(UsageError, match="No outline") as caught:
        family_named("DIN 41612")
    assert caught.value.code == "family-unknown"
    assert "ISA, 16 bit" in caught.value.advice
