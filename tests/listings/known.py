"""One of our own renders read as a listing, once for all tests that look at the same."""

from functools import cache

from grader.listing import Listing, read_listing
from grader.samples import samples_folder

PICTURE = samples_folder() / "memory-modules.jpg"
BOARDS = 4


@cache
def alone() -> Listing:
    """The picture by itself."""
    return read_listing([PICTURE])
