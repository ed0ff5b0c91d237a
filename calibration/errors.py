"""The error tree. Every error of this project derives from one base and from the fitting builtin.

::

    GraderError
    ├── UsageError        (ValueError)   the request itself is wrong: exit 2
    │   ├── UnitError                    a quantity or its unit cannot be understood
    │   ├── KeywordError (TypeError)     a function was called with a keyword that it does not have
    │   └── DataFileError                a data or target file has invalid contents
    ├── PhotoError        (ValueError)   the file is not a photo that can be trusted: exit 2
    ├── RefusedError      (ValueError)   the photo is fine but cannot carry this measurement: exit 3
    │   └── ScaleError                   no scale, or one that its own residuals contradict
    ├── LogError          (RuntimeError) the log cannot be read or written: exit 2
    └── UnforeseenError   (RuntimeError) a defect of this program: exit 1

Each error carries a stable ``code``, a one-sentence ``message`` and ``advice`` (what to do next), and survives
pickling, so that it can cross a process boundary. Every code appears once in ``grader/codes.toml``. Message and
advice name no command, option or button: if a front end can say more, its own words are in its ``advice.toml``
(``calibration/advice.py``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import ClassVar, Self

from calibration.advice import Advised


class GraderError(Exception):
    """Base of all errors that a user may see.

    Attributes:
        code: stable machine-readable name, kebab-case.
        message: the problem, one sentence.
        advice: the next step, one sentence, in words that fit everywhere.
        remedy: name of the advice in the front ends' files; empty if the code names it.
        values: values for placeholders in the front ends' words.

    Examples:
        >>> from calibration.errors import GraderError, UnitError
        >>> try:
        ...     raise UnitError("unit-missing", "'5' has no unit.", "Write a mass such as '5 kg'.")
        ... except GraderError as error:
        ...     print(error.code, "|", error)
        unit-missing | '5' has no unit. Write a mass such as '5 kg'.
    """

    exit_code: ClassVar[int] = 2

    def __init__(
        self,
        code: str,
        message: str,
        advice: str,
        *,
        remedy: str = "",
        values: Mapping[str, object] | None = None,
    ) -> None:
        super().__init__(code, message, advice)
        self.code = code
        self.message = message
        self.advice = advice
        self.remedy = remedy
        self.values: Mapping[str, object] = values or {}

    @classmethod
    def of(cls, told: Advised, message: str | None = None) -> Self:
        """An error of this class with the code and advice of another or of a notice, and its message or a new one."""
        said = told.message if message is None else message
        return cls(told.code, said, told.advice, remedy=told.remedy, values=told.values)

    def __str__(self) -> str:
        return f"{self.message} {self.advice}"

    def __reduce__(self) -> tuple[Callable[..., GraderError], tuple[str, str, str]]:
        return partial(type(self), remedy=self.remedy, values=self.values), (self.code, self.message, self.advice)


class UsageError(GraderError, ValueError):
    """The request itself is wrong (an option, a value, a file that must exist)."""


class UnitError(UsageError):
    """A quantity or its unit cannot be understood, or has the wrong dimension."""


class KeywordError(UsageError, TypeError):
    """A function of the Python interface was called with a keyword that it does not have, or without an argument."""


class DataFileError(UsageError):
    """A data file (a scale target's description, a measurement, assumptions) has invalid contents."""


class PhotoError(GraderError, ValueError):
    """The bytes are not a photo that can be trusted: empty, truncated, damaged, animated, oversized, another kind."""


class RefusedError(GraderError, ValueError):
    """The photo is sound but cannot carry the measurement that was asked for."""

    exit_code: ClassVar[int] = 3


class ScaleError(RefusedError):
    """No scale can be found, or the one found is contradicted by its own residuals."""


class LogError(GraderError, RuntimeError):
    """The log cannot be opened, read or written."""


class UnforeseenError(GraderError, RuntimeError):
    """A defect of this program; only the last net of the command line makes it."""

    exit_code: ClassVar[int] = 1
