"""The base of all new entries, and their kinds of text."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, ValidationError

from calibration.errors import UsageError

Document = Mapping[str, Any]


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("holds line breaks or control characters")
    return text


def _not_a_number(text: str) -> str:
    if not any(c.isalpha() for c in text):
        raise ValueError("needs at least one letter, or it could be mistaken for a lot's number")
    return text


def folded(name: str) -> str:
    """Case-folded form of a name, stripped, for comparing spellings (The Unicode Standard, 3.13, D145)."""
    return unicodedata.normalize("NFD", unicodedata.normalize("NFD", name.strip()).casefold())


def _composed(text: str) -> str:
    return unicodedata.normalize("NFC", text)


Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=2000), AfterValidator(_printable)]
LotName = Annotated[
    str,
    BeforeValidator(lambda text: _composed(text) if isinstance(text, str) else text),
    StringConstraints(strip_whitespace=True, min_length=1, max_length=120),
    AfterValidator(_printable),
    AfterValidator(_not_a_number),
]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Finite = Field(allow_inf_nan=False)


class Entry(BaseModel):
    """Base of all new entries: frozen, without unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


AnyEntry = TypeVar("AnyEntry", bound=Entry)


def checked(kind: type[AnyEntry], /, **values: Any) -> AnyEntry:
    """Build an entry from values.

    Raises:
        UsageError: an invalid value; the message names it.
    """
    try:
        return kind(**values)
    except ValidationError as error:
        first = error.errors()[0]
        field = str(first["loc"][0]).replace("_", " ") if first["loc"] else "entry"
        why = str(first["msg"]).removeprefix("Value error, ")
        raise UsageError(
            "entry-invalid", f"The {field} cannot be logged: {why}.", "Correct it and try again."
        ) from None


def utc_text(moment: datetime) -> str:
    """A time as written in the log: UTC, ISO 8601, ending in Z.

    Raises:
        ValueError: the time has no time zone.
    """
    if moment.tzinfo is None:
        raise ValueError("a clock must say its time zone")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
