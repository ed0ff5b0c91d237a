"""Sources as people are told them."""

from __future__ import annotations

import pytest

from calibration.sourced import source_words
from calibration.standard_objects import standard_objects


@pytest.mark.parametrize("thing", standard_objects().values(), ids=lambda thing: thing.name)
def test_nobody_is_told_of_a_memory(thing):
    told = source_words(thing.source, thing.how_known)
    assert "memory" not in told.replace("memory module", "")
    assert told


def test_what_was_read_is_told_as_it_is_and_what_was_not_says_so():
    assert source_words("ISO/IEC 7810", "read") == "ISO/IEC 7810"
    assert source_words("ISO/IEC 7810", "from memory") == "ISO/IEC 7810 (not yet compared with its source)"
