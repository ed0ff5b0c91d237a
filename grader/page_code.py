"""The code that opens the page where it is open to a network: made by the command line, asked for by the page."""

from __future__ import annotations

import secrets

# handed on in the environment: other users of this machine can read a program's arguments, but not that
CODE_VARIABLE = "GRADER_PAGE_CODE"

# Without 0 and O, 1, I and L. 31 ** 8 is 853 thousand million codes, new at each start. The page's gate judges two a
# second from one address: a day of trying finds the code once in 4.9 million days (31 ** 8 / (2 * 86,400)). All 254
# addresses of a small network together: once in 19,400. The server holds 400 connections, hence judges at most 800 a
# second whatever addresses they come from: once in 12,300.
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_LENGTH = 8


def new_code() -> str:
    """A code for one run of the page."""
    return "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
