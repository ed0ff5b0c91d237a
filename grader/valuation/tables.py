"""Tables of a file of assumptions, each of which says where it is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from calibration.errors import DataFileError
from calibration.reading import FileKind

FILE = FileKind(
    code="assumptions",
    what="a file of assumptions",
    most_bytes=1_000_000,
    fix="Compare it with the example set.",
)


@dataclass(frozen=True)
class AssumptionsTable:
    """One table of a file.

    Attributes:
        data: what it holds.
        file: name of the file.
        where: its heading, ``[work]`` or ``[[cost]]``; empty for the top of the file.
    """

    data: Mapping[str, Any]
    file: str
    where: str = ""

    def __contains__(self, key: str) -> bool:
        return key in self.data

    @property
    def source(self) -> str:
        """Where its figures come from: what it says of that, otherwise the file."""
        return str(self.data.get("source", self.file))

    def title(self, otherwise: str) -> str:
        """Its title in plain words."""
        return str(self.data.get("title", otherwise))

    def text(self, key: str, of: str = "") -> str:
        """A text that must be there; ``of`` names what it belongs to in the message.

        Raises:
            DataFileError: ``assumptions-invalid``.
        """
        value = self.data.get(key)
        if not isinstance(value, str):
            raise self.invalid(f"{key} is missing, or not a text {f'in {of}' if of else ''}".strip())
        return value

    def only(self, known: Iterable[str]) -> None:
        """Check that it holds no other keys.

        Raises:
            DataFileError: ``assumptions-invalid``, naming those without a meaning.
        """
        allowed = sorted(known)
        unknown = sorted(set(self.data) - set(allowed))
        if unknown:
            where = f"in {self.where}" if self.where else "at the top"
            raise self.invalid(f"{', '.join(unknown)} is not known {where} (known: {', '.join(allowed)})")

    def table(self, key: str) -> AssumptionsTable:
        """The table under ``[key]``.

        Raises:
            DataFileError: ``assumptions-invalid``: there is none.
        """
        return self._as_table(self.data.get(key), f"[{key}]")

    def tables(self, key: str) -> list[AssumptionsTable]:
        """The tables under ``[[key]]``, in their order.

        Raises:
            DataFileError: ``assumptions-invalid``: they are written otherwise.
        """
        found = self.data.get(key, [])
        if not isinstance(found, list):
            raise self.invalid(f"{key}s must be tables under [[{key}]]")
        return [self._as_table(table, f"[[{key}]]") for table in found]

    def invalid(self, why: str) -> DataFileError:
        """The error that says what is wrong with it."""
        return FILE.invalid(self.file, why)

    def _as_table(self, data: Any, where: str) -> AssumptionsTable:
        if not isinstance(data, Mapping):
            raise self.invalid(f"{where} is missing or not a table")
        return AssumptionsTable(data, self.file, where)
