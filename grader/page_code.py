"""The code that opens the page where it is open to a network: made by the command line, asked for by the page."""

from __future__ import annotations

import secrets

# handed on in the environment: other users of this machine can read a program's arguments, but not that
CODE_VARIABLE = "GRADER_PAGE_CODE"

# without 0 and O, 1, I and L; 31 ** 8 codes, of which the page's gate takes one a second
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_LENGTH = 8


def new_code() -> str:
    """A code for one run of the page."""
    return "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
